"""A photograph of twelve megapixels put on the record, against what Pillow alone needs to see the same.

The floor is the same file decoded whole and resized to the two sizes that pages show. Ours is the whole act: its
place data taken out, decoded, bounded, resized, both views written as JPEG, the file kept durably under its digest,
the row and its journal entry stored in a SQLite file. The picture is drawn, with grain such as a camera's. Run with
`python -m tests.bench.photographs`; the aim is a ratio below 3.
"""

import tempfile
from collections.abc import Iterator
from contextlib import closing
from io import BytesIO
from itertools import count
from pathlib import Path

from PIL import Image

from server.app import configure_logs
from server.records import migrate
from server.records.commands.machines import EnterMachine
from server.records.commands.photographs import AddPhotograph
from server.records.commands.symptoms import NoteSymptom
from server.records.store import Store, sqlite_url
from server.settings import Settings
from tests.bench.timing import best, told

SIZE, SCREEN, SMALL = (4000, 3000), (1600, 1200), (480, 360)
DENSITY = 14  # where a JFIF header says how many dots an inch has: what tells one round's file from another's
KEEPER = "Keeper"
ROUNDS = 5
AIM = 3.0


def run() -> list[tuple[str, float, float, float]]:
    """What was timed, our seconds, the floor's seconds of the same run, and the ratio aimed at."""
    sent = _photograph()
    with tempfile.TemporaryDirectory() as folder, closing(_store(Path(folder))) as store:
        another = _alike(sent)
        ours, bare = best(lambda: _add(store, next(another)), lambda: _bare(sent), rounds=ROUNDS)
    return [(f"{SIZE[0] * SIZE[1] // 1_000_000} megapixels stored, {len(sent) / 1e6:.1f} MB", ours, bare, AIM)]


def main() -> None:
    """Print each time, its floor and their ratio."""
    for name, ours, floor, aim in run():
        told(name, ours, floor, aim)


def _photograph() -> bytes:
    shapes = Image.effect_noise((SIZE[0] // 10, SIZE[1] // 10), 60).resize(SIZE, Image.Resampling.BICUBIC)
    seen = Image.merge("RGB", (shapes, Image.effect_noise(SIZE, 20), shapes.rotate(180)))
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"
    file = BytesIO()
    seen.save(file, "JPEG", quality=88, exif=exif)
    return file.getvalue()


def _alike(sent: bytes) -> Iterator[bytes]:
    """The same picture, each time in another file: one that is known already would not be kept again."""
    for number in count(100):
        yield sent[:DENSITY] + number.to_bytes(2) + sent[DENSITY + 2 :]


def _store(folder: Path) -> Store:
    configure_logs(Settings(log_level="error"))
    store = Store(sqlite_url(folder))
    migrate.upgrade(store.engine)
    store.carry_out(EnterMachine.read({"tag": "TM-03", "model": "Tern"}), KEEPER)
    store.carry_out(NoteSymptom.read({"machine": "TM-03", "title": "Stripes", "seen_on": "2025-01-10"}), KEEPER)
    return store


def _add(store: Store, content: bytes) -> None:
    asked = {"machine": "TM-03", "on_kind": "symptom", "on": "1", "file_name": "shot.jpg", "content": content}
    store.carry_out(AddPhotograph.read(asked), KEEPER)


def _bare(content: bytes) -> None:
    with Image.open(BytesIO(content)) as image:
        image.load()
        screen = image.resize(SCREEN, Image.Resampling.LANCZOS)
        screen.resize(SMALL, Image.Resampling.LANCZOS)


if __name__ == "__main__":
    main()
