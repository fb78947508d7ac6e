"""What a marking on a part was understood as, and the refusal when it was not.

A `Marking` always says what it was read from; where the marking has more than one reading the others come along as
`alternatives`, and a refusal carries what could have been meant. Values are in ohm or farad (plain values of other
kinds of part in the unit they were written in). Knows no code itself.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from server.engineering.errors import EngineeringError
from server.engineering.preferred_series import is_preferred
from server.engineering.quantities import Toleranced, show
from server.engineering.tolerance_letters import MarkedKind

Scheme = Literal["colour bands", "letter code", "digit code", "EIA-96", "zero-ohm link", "plain value"]

UNITS: dict[MarkedKind, str] = {"resistor": "Ω", "capacitor": "F"}
# Above these a code is likelier to be something else: ohm and farad.
_LARGEST_LIKELY: dict[MarkedKind, Decimal] = {"resistor": Decimal("1e9"), "capacitor": Decimal("1")}


@dataclass(frozen=True)
class Marking:
    """One reading of a marking.

    `value` has its limits where a tolerance is marked, and none (low = high) where it is not;
    `temperature_coefficient` in parts per million per kelvin, plus or minus; `understood` is the reading in words;
    `alternatives` are the other readings, likelier first, without alternatives of their own; `notes` are warnings,
    a sentence each.
    """

    value: Toleranced
    temperature_coefficient: float | None
    scheme: Scheme
    understood: str
    alternatives: tuple["Marking", ...] = ()
    notes: tuple[str, ...] = ()

    def beside(self, *others: "Marking") -> "Marking":
        """The same reading with other readings as its alternatives."""
        return replace(self, alternatives=tuple(replace(other, alternatives=()) for other in others))


class MarkingError(EngineeringError):
    """A marking that is not read; `text` is the marking, `alternatives` what may have been meant."""

    def __init__(
        self,
        sentence: str,
        *,
        text: str,
        alternatives: tuple[Marking, ...] = (),
        field: str | None = None,
        position: int | None = None,
    ) -> None:
        super().__init__(sentence, field=field, text=text, position=position)
        self.alternatives = alternatives


@dataclass(frozen=True)
class Coded:
    """A value as a code spells it, in exact decimals: ohm or farad, and how far below and above it may lie."""

    value: Decimal
    kind: MarkedKind
    scheme: Scheme
    source: str
    deviations: tuple[Decimal, Decimal] | None = None
    notes: tuple[str, ...] = ()

    @property
    def unlikeliness(self) -> tuple[bool, bool]:
        """A value beyond what is made, or outside E24, is seldom what a code of two meanings says."""
        if self.value <= 0:
            return False, False
        return self.value > _LARGEST_LIKELY[self.kind], not is_preferred(float(self.value), "E24")

    def marking(self, temperature_coefficient: float | None = None) -> Marking:
        """The typed reading, with its sentence."""
        below, above = self.deviations or (Decimal(0), Decimal(0))
        value = Toleranced(
            float(self.value), float(self.value - below), float(self.value + above), UNITS[self.kind], "limits"
        )
        parts = [show(value)]
        if temperature_coefficient is not None:
            parts.append(f"{temperature_coefficient:g} ppm/K")
        if self.deviations is None and self.value:
            parts.append("no tolerance marked")
        understood = ", ".join([*parts, f"from {self.source}"])
        return Marking(value, temperature_coefficient, self.scheme, understood, notes=self.notes)
