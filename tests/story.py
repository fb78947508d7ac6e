"""The story that the tool must carry, told once; whoever can read a page and use its controls can act it out.

The machine is invented, and so are its troubles.
"""

from typing import Protocol

TAG = "LK-04"
HOME = f"/machines/{TAG}"
LIST = """Designator;Kind;Type;Value;Date code;Origin
U3;chip;74LS00;;8115;original
U5;chip;74LS244;;8120;original
R2;resistor;carbon film;100 Ω ±5 %;;original
R2;resistor;carbon film;47 kΩ;;original
"""
LAID_ASIDE = "cabinet 3, tray 1"


class Reader(Protocol):
    """Someone at a page. Labels, words of links and of buttons are those that stand there."""

    def go(self, address: str) -> None: ...
    def follow(self, words: str) -> None: ...
    def fill(self, label: str, text: str, within: str = "") -> None: ...
    def choose(self, label: str, words: str, within: str = "") -> None: ...
    def tick(self, label: str) -> None: ...
    def unfold(self, words: str) -> None: ...
    def press(self, words: str) -> None: ...

    def sees(self, *words: str) -> None:
        """Each of these stands on the page, or comes to stand there within a few seconds."""

    def fetches(self, address: str) -> bytes:
        """A file, as it comes."""


def tell(reader: Reader) -> None:
    """From an empty shelf to a machine whose mod was tried, found wanting, put right and compared."""
    enter_machine(reader)
    take_list_in(reader)
    run_trial(reader, "2024-03-02", "41.2 43.0 40.1 42.4 41.7", write_procedure=True)
    plan_mod(reader)
    attach_sum(reader)
    fit_what_lies_in_the_drawer(reader)
    fit_what_was_planned(reader)
    call_it_fitted(reader)
    run_trial(reader, "2024-03-16", "18.4 19.9 17.7 18.8 18.1")
    compare(reader)
    read_sheet(reader)
    look_back(reader)


def enter_machine(reader: Reader) -> None:
    reader.go("/")
    reader.follow("Enter the first machine")
    reader.fill("Tag", TAG)
    reader.fill("Maker", "Ostrey")
    reader.fill("Model", "Larkspur 8")
    reader.tick("charged reservoir")
    reader.press("Enter the machine")
    reader.sees(TAG, "Ostrey Larkspur 8", "Caution", "Next: add the main board")

    reader.follow("Add a board")
    reader.fill("Name", "Main board")
    reader.choose("Kind", "main board")
    reader.press("Add the board")
    reader.sees("Main board", "No position is recorded yet")


def take_list_in(reader: Reader) -> None:
    """A list with one bad row: it is named with its reason before anything is stored, and left out."""
    reader.follow("Enter a parts list")
    reader.fill("The list", LIST)
    reader.press("Look at the rows")
    reader.sees("3 rows can be stored", "1 cannot", "Rows that cannot be stored", "R2 stands in line 4 already")

    reader.press("Store the 3 good rows, leave 1 out")
    reader.sees("Entered a parts list of 3 rows onto Main board")
    reader.follow("Look at Main board")
    reader.sees("3 positions", "carbon film 100 Ω ±5 %", "8115")


def run_trial(reader: Reader, day: str, readings: str, write_procedure: bool = False) -> None:
    if write_procedure:
        reader.go(f"{HOME}/trials")
        reader.follow("Record the first trial")
        reader.follow("Write down a procedure")
        reader.fill("Title", "Heat of U3 after ten minutes")
        reader.fill("How to run it", "Lid closed, room at 20 °C. Read the clip after ten minutes.")
        reader.tick("A figure: lower is better")
        reader.fill("Unit", "°C")
        reader.fill("Resolution", "0.1")
        reader.press("Write it down")
    else:
        reader.go("/procedures")
        reader.follow("Heat of U3 after ten minutes")
        reader.follow(TAG)
    reader.fill("Readings", readings)
    reader.fill("Day", day)
    reader.fill("Instrument", "clip thermometer")
    reader.press("Record the trial")
    reader.sees("Heat of U3 after ten minutes", *readings.split())


def plan_mod(reader: Reader) -> None:
    reader.go(f"{HOME}/mods")
    reader.follow("Write down a mod")
    reader.fill("Title", "A larger resistor where two outputs meet")
    reader.fill("Purpose", "Keep the **driver** cool while the other output pulls low.")
    reader.tick("lead and flux fumes")
    reader.fill("Since", "2024-03-03")
    reader.press("Save")
    reader.sees("Purpose", "No step is written yet")

    reader.follow("Write the first step")
    reader.choose("Act", "take out")
    reader.choose("Board", "Main board")
    reader.fill("Position", "R2")
    reader.press("Save and write another")
    reader.choose("Act", "fit")
    reader.choose("Board", "Main board")
    reader.fill("Position", "R2")
    reader.fill("Type to fit", "metal film")
    reader.fill("Value to fit", "360 Ω 5 %")
    reader.press("Save the step")
    reader.sees("take out at R2 on Main board", "fit metal film 360 Ω 5 % at R2 on Main board")


def attach_sum(reader: Reader) -> None:
    """A sum that reads the part at R2: the machine as it came fails its limit, and the plan holds it."""
    reader.follow("Attach a calculation")
    reader.fill("Title", "Current when the two outputs meet")
    reader.fill("Name", "V", within="Input 1")
    reader.fill("What it is", "high level less low level", within="Input 1")
    reader.fill("Value", "3.2 V ± 0.2 V", within="Input 1")
    reader.fill("Name", "R", within="Input 2")
    reader.choose("Its value is", "that of the part at a position", within="Input 2")
    reader.choose("Board", "Main board", within="Input 2")
    reader.fill("Position", "R2", within="Input 2")
    reader.fill("Name", "I", within="Line 1")
    reader.fill("Formula", "V / R", within="Line 1")
    reader.fill("Shown in", "mA", within="Line 1")
    reader.fill("Line", "I", within="Limit 1")
    reader.choose("Is", "at most", within="Limit 1")
    reader.fill("Value", "10.2 mA", within="Limit 1")
    reader.fill("Basis", "rated output current", within="Limit 1")
    reader.fill("It is assumed that (1)", "Both outputs keep to their levels while they meet.")
    reader.press("Save and run")
    reader.sees("Current when the two outputs meet", "fails", "holds", "Both outputs keep to their levels")


def fit_what_lies_in_the_drawer(reader: Reader) -> None:
    """The original goes into a bag; a 330 Ω stands in for the 360 Ω, and the limit is at risk."""
    reader.go(f"{HOME}/mods/1")
    reader.follow("Carry out")
    reader.fill("Done on", "2024-03-09")
    reader.tick("kept aside in a bag")
    reader.fill("Storage place", LAID_ASIDE)
    reader.fill("Condition", "good")
    reader.press("Save")
    reader.sees("Done 2024-03-09", "took out carbon film 100 Ω ±5 %")

    reader.follow("Carry out")
    reader.fill("Done on", "2024-03-09")
    reader.fill("Type", "carbon film")
    reader.fill("Value", "330 Ω 5 %")
    reader.press("Save")
    reader.sees("fitted carbon film 330 Ω 5 %", "at risk")


def fit_what_was_planned(reader: Reader) -> None:
    """The part that was planned takes its place: the verdict changes, and what was concluded before is kept."""
    reader.follow("Fit another part instead")
    reader.fill("Done on", "2024-03-15")
    reader.fill("Type", "metal film")
    reader.fill("Value", "360 Ω 5 %")
    reader.tick("kept aside in a bag")
    reader.press("Save")
    reader.sees("fitted metal film 360 Ω 5 %")

    reader.follow("Current when the two outputs meet")
    reader.sees("as fitted holds", "as fitted at risk", "Its inputs have changed since", "as fitted: R was 330 Ω")


def call_it_fitted(reader: Reader) -> None:
    reader.go(f"{HOME}/mods/1")
    reader.follow("Change its state")
    reader.tick("fitted")
    reader.fill("On", "2024-03-15")
    reader.press("Save")
    reader.sees("fitted since 2024-03-15")

    reader.follow("Write an expectation")
    reader.fill("Expectation", "U3 stays cooler")
    reader.choose("Told by the procedure", "Heat of U3 after ten minutes (°C)")
    reader.choose("The readings", "better than before")
    reader.press("Save")
    reader.sees("U3 stays cooler", "not yet tested")


def compare(reader: Reader) -> None:
    reader.follow("Compare with trial 1 before it")
    reader.sees(
        "The difference", "lower is better", "Welch", "A larger resistor where two outputs meet", "R2 on Main board"
    )

    reader.go(f"{HOME}/mods/1")
    reader.sees("U3 stays cooler", "(the readings: better than before)", ": met")


def read_sheet(reader: Reader) -> None:
    """What goes with the machine: a page, and the same as an archival document; the storage place stays at home."""
    reader.follow(TAG)
    reader.follow("Mod sheet")
    reader.sees("A larger resistor where two outputs meet", "360 Ω 5 %", "SHA-256")

    assert LAID_ASIDE.encode() not in reader.fetches(f"{HOME}/sheet")
    assert reader.fetches(f"{HOME}/sheet.pdf").startswith(b"%PDF-")


def look_back(reader: Reader) -> None:
    """What the machine was on the day before, and every act that made it what it is."""
    reader.follow("Way back")
    reader.sees("put carbon film 100 Ω ±5 % resistor back at R2 on Main board", "from bag 1")

    reader.follow("History")
    reader.sees("What was done", "Current when the two outputs meet")
    reader.fill("See the machine as of", "2024-03-08")
    reader.press("Show that day")
    reader.sees("at the end of 2024-03-08", "carbon film 100 Ω ±5 %")
    reader.follow("The change after, 2024-03-09")
    reader.sees("carbon film 330 Ω 5 %")
    reader.follow("The change after, 2024-03-15")
    reader.sees("metal film 360 Ω 5 %")
