"""QR codes as pictures of one unit a module, with the quiet zone that the standard asks for."""

import io

import segno

QUIET = 4  # modules kept free round a code (ISO/IEC 18004:2015, 5.3.8)


def qr_code(text: str) -> tuple[str, int]:
    """A code as SVG, and how many modules it has along a side with the quiet zone; error correction M."""
    code, drawn = segno.make_qr(text, error="m"), io.BytesIO()
    code.save(drawn, kind="svg", border=QUIET, xmldecl=False, nl=False, omitsize=True)
    return drawn.getvalue().decode("ascii"), int(code.symbol_size(border=QUIET)[0])
