"""QR codes (ISO/IEC 18004) of part names."""

from __future__ import annotations

import io

QUIET = 4  # modules of quiet zone on every side (ISO/IEC 18004:2015, 5.3.8)


def qr_svg(text: str) -> tuple[bytes, int]:
    """The code of a text as SVG, quiet zone included, and its modules along a side, quiet zone included.

    Error correction M (about 15 % may be lost): a sticker is rubbed by fingers and tweezers (assumption).

    Raises
    ------
    ValueError
        The text is too long for a code.
    """
    import segno

    try:
        code = segno.make_qr(text, error="m", boost_error=True)
    except (segno.DataOverflowError, UnicodeError) as error:
        raise ValueError(f"cannot be put into a QR code: {error}") from error
    sink = io.BytesIO()
    code.save(sink, kind="svg", border=QUIET, xmldecl=False, svgns=True, omitsize=True, nl=False)
    return sink.getvalue(), int(code.symbol_size(border=QUIET)[0])
