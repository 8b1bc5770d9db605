"""Make the messy logs: three invented days of the south beds, as four kinds of logger write them.

Run by make_sample.py. Each file has one trouble or more that growers' logs really have.
"""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

NOTE = "Invented data: no such farm, weather or harvest exists; made by make_messy.py."
FIRST, LAST = "2026-06-14", "2026-06-17"
FARM = f"""\
# {NOTE}
farm: Tarnwick Messy Logs (invented)
place: {{latitude: 39.5, longitude: -86.0, zone: America/Indiana/Indianapolis, elevation: 230}}
show: {{temperature: degF, rain: in}}
store: store
gaps: {{policy: fill_short, hours: 3}}
blocks:
  - block: hall_beds
    logs: [{{file: hall_beds.csv, mapping: hall_beds.csv.mapping.yaml}}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
  - block: shed_beds
    logs: [{{file: shed_beds.txt, mapping: shed_beds.txt.mapping.yaml}}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
    borrow: [{{of: hall_beds, variables: [relative_humidity]}}]
  - block: pond_beds
    logs: [{{file: pond_beds.jsonl}}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
  - block: gate_beds
    logs: [{{file: gate_beds.csv}}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
"""
HALL = f"""\
# {NOTE}
# A logger that writes decimal commas, day before month, and the farm's clock.
time: [Date, Time]
date_order: day_first
columns:
  Temp (°C): air_temperature [degC]
  Humidity (%): relative_humidity [%]
  Leaf wetness (%): surface_wetness [%]
  Battery (V): ignore
"""
SHED = f"""\
# {NOTE}
# A logger set up in winter: its clock stays on standard time all year.
time: [Timestamp]
date_order: month_first
clock: standard
columns:
  T1: air_temperature [degF]
  RH1: ignore
missing: ["--"]
"""


def three_days(folder: Path) -> pd.DataFrame:
    """Return three days of the south beds on the farm's clock: degC and %, hourly."""
    table = pd.read_csv(folder / "south_beds.csv", comment="#")
    local = pd.to_datetime(table["time"]).dt.tz_convert("America/Indiana/Indianapolis")
    fahrenheit = table["air_temperature [degF]"]
    found = pd.DataFrame(
        {"local": local, "t": (fahrenheit - 32) / 1.8, "rh": table["relative_humidity [%]"]}
    )
    inside = (local >= pd.Timestamp(FIRST, tz=local.dt.tz)) & (
        local < pd.Timestamp(LAST, tz=local.dt.tz)
    )
    return found[inside].reset_index(drop=True)


def hall(days: pd.DataFrame, folder: Path) -> None:
    """Write Latin-1 with semicolons, decimal commas, a preamble and a battery column."""
    lines = [NOTE, "Serial number;0000", "", "Date;Time;Temp (°C);Humidity (%);Leaf wetness (%);"
             "Battery (V)"]  # fmt: skip
    for row in days.itertuples():
        wet = 100 if row.rh >= 93 else 0
        cells = [f"{row.t:.1f}", f"{row.rh:.1f}", f"{wet}", "3.1"]
        stamp = row.local.strftime("%d.%m.%Y;%H:%M")
        lines.append(f"{stamp};{';'.join(cells).replace('.', ',')}")
    (folder / "hall_beds.csv").write_bytes(("\n".join(lines) + "\n").encode("latin-1"))
    (folder / "hall_beds.csv.mapping.yaml").write_text(HALL, encoding="utf-8")


def shed(days: pd.DataFrame, folder: Path) -> None:
    """Write tabs, month before day, 12-hour clock, standard time, a unit line, and a gap."""
    lines = [f"# {NOTE}", "Timestamp\tT1\tRH1", "\t°F\t%"]
    for i, row in enumerate(days.itertuples()):
        standard = row.local.tz_convert("Etc/GMT+5")
        stamp = f"{standard.month}/{standard.day}/{standard.year} {standard.strftime('%I:%M %p')}"
        value = "--" if 25 <= i < 27 else f"{row.t * 1.8 + 32:.1f}"
        lines.append(f"{stamp}\t{value}\t0.0")
    (folder / "shed_beds.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "shed_beds.txt.mapping.yaml").write_text(SHED, encoding="utf-8")


def pond(days: pd.DataFrame, folder: Path) -> None:
    """Write JSON lines with offsets, out of order, six rows twice, and four hours missing."""
    lines = []
    for i, row in enumerate(days.itertuples()):
        if 44 <= i < 48:
            continue
        body = {"time": row.local.isoformat(), "air_temperature [degC]": round(row.t, 1),
                "relative_humidity [%]": round(row.rh, 1), "from": "an invented farm"}  # fmt: skip
        lines.append(json.dumps(body, ensure_ascii=False))
    shuffled = [*lines[30:], *lines[:30], *lines[10:16]]
    (folder / "pond_beds.jsonl").write_text("\n".join(shuffled) + "\n", encoding="utf-8")


def gate(days: pd.DataFrame, folder: Path) -> None:
    """Write our own header with a spike, a stuck humidity, a -9999, and a last line cut off."""
    lines = [f"# {NOTE}", "time,air_temperature [degC],relative_humidity [%]"]
    for i, row in enumerate(days.itertuples()):
        t = 58.0 if i == 20 else -9999 if i == 33 else round(row.t, 1)
        rh = 71.0 if i >= 30 else round(row.rh, 1)
        lines.append(f"{row.local.isoformat()},{t},{rh}")
    text = "\n".join(lines)
    (folder / "gate_beds.csv").write_text(text[:-8], encoding="utf-8")


def main(samples: Path) -> None:
    """Write the messy logs and their farm file into ``samples/messy``."""
    folder = samples / "messy"
    folder.mkdir(exist_ok=True)
    days = three_days(samples)
    for write in (hall, shed, pond, gate):
        write(days, folder)
    (folder / "farm.yaml").write_text(FARM, encoding="utf-8")


if __name__ == "__main__":
    main(Path(__file__).parent)
