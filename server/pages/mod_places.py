"""Where a mod and its sums are found: by the names in an address, and at which address."""

from sqlmodel import Session

from server.pages.house import House
from server.pages.machines import address
from server.records.questions.addresses import find_machine, find_mod
from server.records.tables import Calculation, Machine, Mod


def found_mod(session: Session, tag: str, number: int) -> tuple[Machine, Mod]:
    machine = find_machine(session, tag)
    return machine, find_mod(session, machine, number)


def mod_address(machine: Machine | str, mod: Mod | int) -> str:
    number = mod if isinstance(mod, int) else mod.number
    return f"{address(machine)}/mods/{number}"


def calculation_address(machine: Machine, mod: Mod, calculation: Calculation) -> str:
    return f"{mod_address(machine, mod)}/calculations/{calculation.number}"


def address_of_new_calculation(house: House, machine: Machine, mod: Mod, key: int) -> str:
    with house.reading() as session:
        return calculation_address(machine, mod, session.get_one(Calculation, key))
