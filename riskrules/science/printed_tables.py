"""Our own tables of the infection curves, worked out once, as the collection prints them.

They repeat second-hand coefficients, so they guard the code against change and show nothing
about the papers.
"""

from __future__ import annotations

Cell = tuple[str, float, float, str]

_GRAY = """
T\\W    4     8    12    16    20    24    28    32
5    .017  .021  .026  .032  .040  .049  .060  .073
10   .028  .056  .109  .201  .341  .515  .686  .818
12   .033  .076  .168  .329  .543  .743  .876  .945
15   .040  .110  .267  .519  .762  .905  .966  .988
18   .045  .136  .344  .638  .855  .952  .985  .995
20   .046  .143  .366  .666  .873  .960  .988  .996
22   .046  .140  .357  .654  .865  .956  .987  .996
25   .041  .114  .282  .544  .784  .917  .971  .990
27   .035  .088  .202  .399  .635  .820  .923  .969
30   .026  .047  .085  .148  .246  .380  .535  .683
"""
_ANTHRACNOSE = """
T\\W    3     6     9    13    18    24    36    51
10   .028  .032  .036  .044  .054  .071  .118  .214
15   .033  .045  .060  .089  .143  .240  .530  .847
20   .044  .078  .136  .265  .502  .776  .976  .999
25   .054  .115  .230  .475  .783  .950  .998 1.000
27   .054  .118  .237  .490  .797  .955  .998 1.000
30   .050  .099  .189  .386  .686  .907  .995 1.000
33   .038  .059  .091  .158  .290  .510  .871  .986
"""
_GRAY_HOURS = """
T\\P  0.20  0.50  0.70
8    21.7   -     -
10   16.0  23.7  28.4
12   13.0  19.2  23.0
15   10.6  15.7  18.8
18    9.5  14.1  16.9
20    9.3  13.8  16.5
22    9.4  13.9  16.7
25   10.4  15.4  18.4
28   13.3  19.6  23.5
30   18.3  27.1   -
"""
_ANTHRACNOSE_HOURS = """
T\\P  0.15  0.50
10   41.8   -
12   32.1   -
15   18.5  34.9
18   11.9  22.3
20    9.5  18.0
22    8.1  15.3
25    7.1  13.4
28    7.1  13.4
30    7.9  14.9
"""


def _cells(disease: str, table: str) -> list[Cell]:
    head, *rows = table.strip().splitlines()
    columns = [float(each) for each in head.split()[1:]]
    cells = []
    for row in rows:
        temperature, *printed = row.split()
        pairs = zip(columns, printed, strict=True)
        cells += [(disease, float(temperature), at, each) for at, each in pairs if each != "-"]
    return cells


PROBABILITIES: list[Cell] = _cells("gray mold", _GRAY) + _cells("anthracnose", _ANTHRACNOSE)
HOURS_TO_REACH: list[Cell] = _cells("gray mold", _GRAY_HOURS) + _cells(
    "anthracnose", _ANTHRACNOSE_HOURS
)
