"""Values with a tolerance: read from what a keeper types, held as plain floats with their unit, shown again.

    2.2 kΩ ±5 %     2k2     4k7 J     4700 µF -20/+50 %     6.8 V ± 0.3 V     4.75..5.25 V     6.81(3) V     100nF
    0R47

`parse` and `show` are each other's inverse: `parse(show(v))` is the same quantity, to fifteen digits for limits and to
two digits of the uncertainty for a standard one. Both work in decimal arithmetic, so `2.2 kΩ ±5 %` has
the limits 2.09 and 2.31, not their neighbours in binary.

What the forms mean. A tolerance of `limits` is all that is known, and is sampled as uniform. The concise form
`6.81(3)` gives a standard uncertainty in the last places (GUM 7.2.2), is sampled as normal, and its low and high are
nominal -/+ 2 u. A range takes its middle as the nominal. A tolerance in the value's own unit is absolute, also for a
value in %: `5 % ± 1 %` is 4 to 6 %. In a letter code the letter is the decimal sign (IEC 60062) and a capital after
it the tolerance.

Temperatures: `25 °C` is a point on a scale, its tolerance a difference (`± 5 °C` and `± 5 K` say the same); percent
of it means nothing and is refused. `20 K` is an amount or an absolute temperature. Where `K` is asked for `°C` is
refused, because a rise of 20 K is not 20 °C; where `°C` is asked for, `300 K` is read as the absolute temperature
that it is.

Sources: JCGM 100:2008 (GUM) 7.2.2 and 7.2.6; IEC 60062 (letter codes); SI Brochure, 9th edition, 5.4.
"""

from server.engineering.reading import read as parse
from server.engineering.showing import figure, show
from server.engineering.toleranced import Spread, Toleranced, convert, exact
from server.engineering.units import check_unit, same_dimension

__all__ = [
    "Spread",
    "Toleranced",
    "check_unit",
    "convert",
    "exact",
    "figure",
    "parse",
    "same_dimension",
    "show",
]
