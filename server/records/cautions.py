"""What a hazard means for the person at the bench (rule 9). Derived from hazards, never typed.

These sentences cover only what commonly hurts people; they promise nothing, and local codes and trained people
come first. Wording is our own; the facts are common practice among electronics repairers.
"""

from collections.abc import Iterable

from server.records.words import Hazard

CAUTIONS = {
    Hazard.DISPLAY_TUBE: (
        "A display tube keeps a high voltage long after switch-off and can implode when knocked. "
        "Leave it to someone trained, who discharges it first; wear eye protection."
    ),
    Hazard.MAINS_INSIDE: (
        "Mains voltage is inside. Unplug it before the cover comes off, and leave live work to a licensed person "
        "under the code of the place where you are."
    ),
    Hazard.CHARGED_RESERVOIR: (
        "Reservoir capacitors stay charged after switch-off. Measure before touching; discharge through a resistor, "
        "never with a screwdriver."
    ),
    Hazard.BATTERY: (
        "An old battery leaks and its residue burns skin and eats boards. Gloves and eye protection; do not charge it "
        "or short it; dispose of it as the place where you are asks."
    ),
    Hazard.BRITTLE_PLASTIC: "The plastic is brittle: clips and posts break into sharp pieces at room temperature.",
    Hazard.LEAD_AND_FUMES: (
        "Solder of the time holds lead and flux fumes irritate. Work with an extractor and wash your hands after."
    ),
    Hazard.ASBESTOS: (
        "Old insulating pads can hold asbestos, and old thermal paste can hold beryllium oxide. Do not scrape, sand "
        "or blow; ask someone qualified."
    ),
    Hazard.STATIC: (
        "Chips of this kind die from static that nobody feels. Wear a wrist strap and handle them by the ends."
    ),
}


def cautions(*hazards: Iterable[str]) -> list[str]:
    """One sentence a hazard, each once, in the order of the vocabulary."""
    present = {name for some in hazards for name in some}
    return [sentence for hazard, sentence in CAUTIONS.items() if hazard.value in present]
