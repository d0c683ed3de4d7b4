"""Figures on paper: each is a page of its own that matplotlib wrote, laid onto ours as a form, vectors and all.

A form XObject (ISO 32000-1, 8.10) takes the figure's stream as it is. pypdf's own way of merging pages takes every
stream apart and writes it anew, which for eight figures costs as much as everything else on the paper.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pypdf import PdfWriter


def lay_on(writer: PdfWriter, page: int, figure: bytes, name: str, at: tuple[float, float]) -> None:
    """Draw the first page of a PDF on a page of another.

    Args:
        writer: of the other.
        page: its number, from 0.
        figure: a PDF of one page with one content stream.
        name: of the form among the page's resources, with its slash; not in use there.
        at: where its left bottom corner goes, in points.
    """
    from pypdf import PdfReader
    from pypdf.generic import ArrayObject, DictionaryObject, NameObject, NumberObject, StreamObject

    drawn: Any = PdfReader(io.BytesIO(figure)).pages[0]
    form: Any = drawn["/Contents"].get_object().clone(writer, force_duplicate=True)
    form[NameObject("/Type")] = NameObject("/XObject")
    form[NameObject("/Subtype")] = NameObject("/Form")
    form[NameObject("/FormType")] = NumberObject(1)
    form[NameObject("/BBox")] = ArrayObject(drawn.mediabox).clone(writer)
    form[NameObject("/Resources")] = drawn["/Resources"].get_object().clone(writer)
    if "/Group" in drawn:
        form[NameObject("/Group")] = drawn["/Group"].get_object().clone(writer)
    target: Any = writer.pages[page]
    forms = target["/Resources"].get_object().setdefault(NameObject("/XObject"), DictionaryObject()).get_object()
    forms[NameObject(name)] = form.indirect_reference
    placing = StreamObject()
    placing.set_data(f"q 1 0 0 1 {at[0]:.3f} {at[1]:.3f} cm {name} Do Q\n".encode())
    before = target["/Contents"]
    parts = before if isinstance(before, ArrayObject) else ArrayObject([target.raw_get("/Contents")])
    target[NameObject("/Contents")] = ArrayObject([*parts, writer._add_object(placing)])
