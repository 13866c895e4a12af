"""QR codes as SVG (ISO/IEC 18004), made by segno: the only module that sees it."""

from __future__ import annotations

import io

import segno


def qr_svg(address: str) -> bytes:
    """``address`` as an SVG that scales; error correction Q: a greasy thumb print does not kill it."""
    made = io.BytesIO()
    segno.make(address, error="q", micro=False).save(
        made,
        kind="svg",
        scale=8,
        border=4,
        dark="#000",
        light="#fff",
        xmldecl=True,
        svgns=True,
        omitsize=True,
    )
    return made.getvalue()


def qr_inline(address: str) -> str:
    """``address`` as a ``data:`` address of an SVG, for a page that shows a link only once."""
    return str(segno.make(address, error="m", micro=False).svg_data_uri(scale=4, dark="#1c1f26"))
