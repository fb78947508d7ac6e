"""Digits that look like a date code and are a chip's type number as well.

A table of generic industry type numbers of three and four digits, in which `x` stands for any digit. It knows no
makers, and what it says is a warning, never a verdict: a number that is missing here may still be a type.
Common practice, no source.
"""

_TYPES: dict[str, str] = {
    "a 7400-family logic chip": "74xx 54xx",
    "a 4000-family logic chip": "40xx 45xx",
    "a bipolar logic chip": "290x 291x 300x 9601 9602",
    "a microprocessor or microcontroller": (
        "1802 1804 1805 1806 6502 6503 6504 6505 6506 6507 6508 6509 6510 6512 6800 6801 6802 6803 6804 6805 6808 6809 "
        "8008 8020 8021 8022 8031 8032 8035 8039 8040 8041 8042 8048 8049 8050 8051 8052 8080 8085 8086 8087 8088"
    ),
    "a microprocessor's companion chip": (
        "1851 1852 1853 1854 1855 1856 1857 1858 1859 6520 6521 6522 6525 6526 6529 6530 6532 6545 6551 6560 6567 6569 "
        "6581 6810 6820 6821 6828 6829 6840 6843 6844 6845 6846 6847 6850 6852 6854 8155 8156 8185 8202 8203 8205 8208 "
        "8212 8214 8216 8224 8226 8228 8231 8237 8238 8243 8250 8251 8253 8254 8255 8256 8257 8259 8271 8272 8273 8274 "
        "8275 8276 8278 8279 8282 8283 8284 8286 8287 8288 8289 8755"
    ),
    "a disk controller": "1771 1772 1773 1791 1793 1795 1797 2793 2797",
    "a memory chip": (
        "1101 1103 2101 2102 2104 2107 2111 2112 2114 2115 2116 2117 2118 2125 2141 2147 2148 2149 2164 2167 "
        "4044 4096 4108 4116 4132 4164 4416 4464 4816 4864 6116 6167 6264 2016 2018"
    ),
    "a read-only memory chip": ("1702 2308 2316 2332 2364 2513 2516 2532 2564 2704 2708 2716 2732 2758 2764 2816 2864"),
    "an interface or analogue chip": (
        "1408 1458 1488 1489 1496 1541 2651 2661 3900 4136 4558 4741 5532 5534 7507 7508 752x 755x 759x"
    ),
    "an amplifier, comparator or regulator": ("301 305 307 308 311 318 324 339 348 709 710 711 723 733 741 747 748"),
}
_KIND_OF = {pattern: kind for kind, patterns in _TYPES.items() for pattern in patterns.split()}


def type_number(digits: str) -> str | None:
    """A warning when three or four digits are also a chip's type number, otherwise None.

    In: the digits alone, without prefix or suffix. Out: one sentence. Raises nothing.
    Source: common practice, no source.
    """
    if not (digits.isascii() and digits.isdecimal()):
        return None
    for pattern in (digits, f"{digits[:3]}x", f"{digits[:2]}xx"):
        if len(pattern) == len(digits) and pattern in _KIND_OF:
            kind = _KIND_OF[pattern]
            return (
                f"{digits} is also the type number of {kind}: look for a second marking before trusting it as a date."
            )
    return None
