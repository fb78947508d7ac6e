"""What a dossier says about itself to someone who opens it in decades, without this program."""

README = """\
WHAT THIS IS

This folder is the whole record of one vintage computer: what it was when it came in, what was changed on it and why,
the sums each change rests on, what the machine did afterwards, where its original parts are, and how to put them back.
It was written by a program called Putback. You need no such program to read it.

HOW TO CHECK IT

The folder above this one is a "bag" as RFC 8493 (BagIt 1.0) describes it. The files manifest-sha256.txt and
manifest-sha512.txt name every file here with its digest. On most systems

    sha256sum -c manifest-sha256.txt

run in the folder above says whether each is still what it was.

WHAT IS IN IT

record.json         The record: UTF-8 text in JSON (RFC 8259), in the one spelling of RFC 8785. Its SHA-256 is the
                    digest that mod-sheet.pdf bears. Days are ISO 8601; moments are in UTC; "made" is EDTF
                    (ISO 8601-2), such as 1979~ for about 1979. Longer texts are Markdown. References between entries
                    are by UUID.
record.schema.json  What each key of the record means (JSON Schema).
context.jsonld      The same keys in the terms of CIDOC CRM (ISO 21127), for those who join records of many museums
                    (JSON-LD).
mod-sheet.pdf       The sheet for a person to read: begin with this one. It is a PDF/A-3 file.
journal.json        Who wrote what into the record and when. Each entry has the hash of the one before it in the
                    installation's journal, of which these are the entries about this machine. An entry that changed
                    something private (a price, a storage place) is without its changes unless they were asked for.
                    Where the machine came from another installation with a dossier, that journal's entries stand
                    first; then the numbers begin anew.
photographs/        Photographs, named by the machine's tag, their number in the record, and the first letters of their
                    SHA-256. The place where each was taken was left out.
files/              Other files, such as scans of schematics and dumps of firmware, byte for byte as they came.
captures/           Traces of an oscilloscope, as comma-separated text.
signed-sheets/      Mod sheets as they were signed, byte for byte, named by their number and the first letters of their
                    digest; beside each the record that it was made from, whose SHA-256 that digest is.

CAUTION

Work on such machines can kill: display tubes keep a high voltage after switch-off and can implode, mains voltage is
inside, reservoir capacitors stay charged. What the record says is no promise of safety. Leave mains and high-voltage
work to trained people, under the code of the place where you are.
"""
