"""The report as PDF, for files and for people who never see the page."""

from pathlib import Path
from typing import Any

from web.reports.sheet import Section, Sheet

# What Debian's own package of it calls it; without it names outside of western Europe lose their letters.
_FONT = Path("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf")
_BOLD = _FONT.with_name("DejaVuSans-Bold.ttf")
_MARGIN_MM = 15.0
_TEXT_PT, _HEAD_PT, _TITLE_PT = 9.0, 12.0, 18.0


def pdf_of(sheet: Sheet) -> bytes:
    """The document, on A4."""
    from fpdf import FPDF  # here: half a second and 30 MB that a start need not wait for

    page: Any = FPDF(format="A4")
    has_font = _FONT.exists() and _BOLD.exists()
    if has_font:
        page.add_font("text", fname=_FONT)
        page.add_font("text", style="B", fname=_BOLD)
    family = "text" if has_font else "helvetica"

    def clean(text: str) -> str:
        return text if has_font else text.encode("cp1252", "replace").decode("cp1252")

    page.set_title(clean(f"Report on {sheet.title}"))
    page.set_creator("sorbwatch")
    page.set_margin(_MARGIN_MM)
    page.set_auto_page_break(auto=True, margin=_MARGIN_MM)
    page.add_page()
    page.set_font(family, style="B", size=_TITLE_PT)
    _line(page, clean(f"Report on {sheet.title}"), 9.0)
    page.set_font(family, size=_TEXT_PT)
    _line(page, clean(sheet.time), 5.0)
    _line(page, clean(f"Made {sheet.made}"), 5.0)
    page.ln(2.0)
    page.set_font(family, style="B", size=_HEAD_PT)
    _line(page, clean(sheet.verdict), 7.0)
    for section in sheet.sections:
        _section(page, section, family, clean)
    return bytes(page.output())


def _section(page: Any, section: Section, family: str, clean: Any) -> None:
    page.ln(3.0)
    page.set_font(family, style="B", size=_HEAD_PT)
    _line(page, clean(section.heading), 6.5)
    page.set_font(family, size=_TEXT_PT)
    for sentence in section.sentences:
        _line(page, clean(sentence), 4.6)
    if not section.header:
        return
    page.ln(1.0)
    with page.table(
        text_align="LEFT", borders_layout="HORIZONTAL_LINES", line_height=4.6, first_row_as_headings=True
    ) as table:
        for cells in (section.header, *section.rows):
            row = table.row()
            for cell in cells:
                row.cell(clean(cell))


def _line(page: Any, text: str, height_mm: float) -> None:
    page.multi_cell(0, height_mm, text, new_x="LMARGIN", new_y="NEXT", align="L")
