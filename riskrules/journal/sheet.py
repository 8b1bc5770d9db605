"""A walk sheet to print, fill in with wet hands, and type in again.

`sheet_html` and `sheet_pdf` print it; `filled_template` is the table to type it into, and
`read_filled` makes records of that.
"""

from __future__ import annotations

from html import escape

from riskrules.journal.records import Record
from riskrules.journal.sheet_filled import filled_template as filled_template
from riskrules.journal.sheet_filled import read_filled as read_filled
from riskrules.journal.sheet_print import sheet_pdf as sheet_pdf
from riskrules.journal.sheet_text import HOW, LINES, NOTE_LINES, Looks, SheetText, sheet_text
from riskrules.journal.symptoms import SymptomList

STYLE = """
@page { margin: 10mm; }
* { box-sizing: border-box; }
body { font: 11pt/1.3 sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 190mm; }
h1 { font-size: 17pt; line-height: 1.15; margin: 0 0 1mm; overflow-wrap: anywhere; }
h2 { font-size: 13pt; margin: 6mm 0 1mm; break-after: avoid; }
p { margin: 0 0 1.5mm; }
.walk { font-family: monospace; font-size: 9.5pt; }
.fill { display: flex; gap: 4mm; margin: 2mm 0; }
.fill span { flex: 1; border-bottom: .4mm solid #000; min-height: 9mm; padding-top: 4mm; }
table { border-collapse: collapse; width: 100%; margin-top: 3mm; table-layout: fixed; }
th, td { border: .3mm solid #000; text-align: center; overflow-wrap: break-word; }
thead { display: table-header-group; }
thead th { font-size: 10pt; padding: .8mm; vertical-align: bottom; }
thead th small { display: block; font-weight: normal; }
thead .walk { border: 0; text-align: left; font-weight: normal; padding: 0 0 1mm; }
tr { break-inside: avoid; }
tbody th, tbody td { height: 12mm; font-size: 13pt; }
tbody .bed > * { border-top-width: .9mm; }
col.stop { width: 12mm; } col.bed { width: 12mm; } col.along { width: 17mm; }
.left { border-left-width: .9mm; }
.write { border-bottom: .3mm solid #000; height: 9mm; }
.looks { break-inside: avoid; margin-top: 2mm; font-size: 10.5pt; }
.looks p { margin: 0; }
.looks ul { margin: 0; padding-left: 5mm; }
"""


def sheet_html(block: str, walk: Record, symptoms: SymptomList, farm: str) -> str:
    """Return a walk sheet as one page of HTML that loads nothing, for A4 and Letter.

    Parameters
    ----------
    block : str
        Name of the block for people.
    walk : Record
        A walk as planned; its identifier stands on every page.
    symptoms : SymptomList
        Says how those of the walk look, and on which part each is counted.
    farm : str
        Name of the farm.

    Raises
    ------
    ValueError
        If the record is no walk, has no stops, or names a symptom that is not listed.
    """
    text = sheet_text(block, walk, symptoms, farm)
    tables = "\n".join(_table(text, group) for group in text.groups)
    looks = "\n".join(_looks(each) for each in text.looks)
    how = f"<h2>How it looks</h2>\n{looks}\n" if looks else ""
    write = '<div class="write"></div>\n' * NOTE_LINES
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Walk sheet: {escape(text.farm)}, {escape(text.block)}</title>
<style>{STYLE}</style>
</head>
<body>
<h1>{escape(text.farm)}: {escape(text.block)}</h1>
<p>{escape(text.about)}</p>
{_fill()}
{"".join(f"<p>{escape(line)}</p>" for line in HOW)}
{tables}
<h2>Notes (stop, what)</h2>
{write}{how}</body>
</html>
"""


def _fill() -> str:
    """Return the lines to fill in by hand."""
    lines = ("".join(f"<span>{escape(words)}</span>" for words in line) for line in LINES)
    return "\n".join(f'<div class="fill">{line}</div>' for line in lines)


def _table(text: SheetText, group: tuple[tuple[str, str], ...]) -> str:
    heads = "".join(
        f'<th colspan="2" class="left">{escape(title)}<small>{escape(part)}</small></th>'
        for title, part in group
    )
    below = '<th class="left"><small>affected</small></th><th><small>of</small></th>' * len(group)
    boxes = '<td class="left"></td><td></td>' * len(group)
    rows, last = [], 0
    for stop, bed, metres in text.stops:
        new = ' class="bed"' if bed != last else ""
        first = f"<th>{stop}</th><td>{bed}</td><td>{metres:g}</td>"
        rows.append(f"<tr{new}>{first}{boxes}</tr>")
        last = bed
    return f"""<table>
<colgroup><col class="stop"><col class="bed"><col class="along"></colgroup>
<thead>
<tr><th class="walk" colspan="{3 + 2 * len(group)}">Walk {escape(text.walk)}</th></tr>
<tr><th rowspan="2">Stop</th><th rowspan="2">Bed</th><th rowspan="2">Metres</th>{heads}</tr>
<tr>{below}</tr>
</thead>
<tbody>
{chr(10).join(rows)}
</tbody>
</table>"""


def _looks(looks: Looks) -> str:
    alike = "".join(f"<li>Looks alike: {escape(line)}</li>" for line in looks.alike)
    listed = f"<ul>{alike}</ul>" if alike else ""
    return (
        f'<div class="looks"><p><strong>{escape(looks.title)}.</strong> {escape(looks.looks)}</p>'
        f"{listed}</div>"
    )
