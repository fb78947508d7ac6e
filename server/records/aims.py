"""The four kinds of work that a mod can be, in words: told apart by their aim, and each called by its own name.

Prevention, remedy and restoration are those of the ICOM-CC terminology of conservation (New Delhi, 2008); adapting for
use is none of the three, and says so. Knows nothing of mods.
"""

from server.records.words import Aim

CALLED = {
    Aim.PREVENT: "prevention",
    Aim.REMEDY: "repair",
    Aim.RESTORE: "restoration",
    Aim.ADAPT: "adaptation for use",
}
MEANS = {
    Aim.PREVENT: "it keeps harm away that has not come yet",
    Aim.REMEDY: "it stops harm that is going on, or makes what failed work again",
    Aim.RESTORE: "it brings back what was lost, and respects what is original",
    Aim.ADAPT: "it changes the machine so that it serves today",
}
APART = (
    "Prevent keeps harm away that has not come yet; remedy stops harm that is going on, or makes what failed work "
    "again; restore brings back what was lost, and respects what is original; adapt for use changes the machine so "
    "that it serves today."
)


def in_words(aim: str) -> str:
    """What a mod of this aim is as work: “repair: it stops harm …”. Empty where none was said."""
    return f"{CALLED[Aim(aim)]}: {MEANS[Aim(aim)]}" if aim else ""
