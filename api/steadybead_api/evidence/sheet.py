"""The paper that reports are written on: fonts, headings, pairs, lists, tables. PDF/A-3B."""

import datetime as dt
import hashlib
import re
from collections.abc import Sequence
from importlib.resources import files
from typing import Final

from fpdf import FPDF
from fpdf.enums import XPos, YPos
from fpdf.fonts import FontFace

from steadybead_domain.times import EPOCH

FAMILY: Final = "Roboto"
LEFT: Final = 15.0
WIDTH: Final = 180.0
INK: Final = (25, 28, 32)
SOFT: Final = (96, 102, 110)
LINE: Final = (200, 204, 210)
Colour = tuple[int, int, int]
# the library writes the clock's time here
_DATES: Final = re.compile(rb'(xmp:(?:ModifyDate|MetadataDate)=")[-0-9T:]{19}\+00:00')


class Sheet(FPDF):
    """Pages of A4 with a foot line. Texts are cut to glyphs that the fonts have."""

    def __init__(self, title: str, foot: str, made: int) -> None:
        super().__init__(enforce_compliance="PDF/A-3B")
        folder = files("font_roboto") / "files"
        self.add_font(FAMILY, "", str(folder / "Roboto-Regular.ttf"))
        self.add_font(FAMILY, "B", str(folder / "Roboto-Bold.ttf"))
        self.creation_date = EPOCH + dt.timedelta(microseconds=made)
        self._foot = foot
        self._name = hashlib.sha256(f"{foot} {made}".encode()).hexdigest()[:32].upper()
        self.set_title(title)
        self.set_producer("Steadybead")
        self.set_lang("en")
        self.set_margins(LEFT, 14.0, LEFT)
        self.set_auto_page_break(True, 16.0)
        self.set_font(FAMILY, "", 9.5)
        self.add_page()

    def file_id(self) -> str:
        """Name the file by what it is of and when it was made, not by when it is written."""
        return f"<{self._name}><{self._name}>"

    def finished(self) -> bytes:
        """Give the file; the same pages give the same bytes, whatever the clock says."""
        written = bytes(self.output())
        made = self.creation_date.isoformat(timespec="seconds").encode()
        return _DATES.sub(lambda m: m[1] + made, written)

    def footer(self) -> None:
        """Write the foot line of a page."""
        self.set_y(-11.0)
        self.ink(SOFT, 7.5)
        self.cell(WIDTH - 20.0, 4.0, self.fit(self._foot))
        self.cell(20.0, 4.0, f"{self.page_no()} / {{nb}}", align="R")

    def ink(self, colour: Colour = INK, size: float = 9.5, style: str = "") -> None:
        """Take a pen for text."""
        self.set_font(FAMILY, style, size)
        self.set_text_color(*colour)

    def fit(self, text: str) -> str:
        """Put a question mark for every sign that the font cannot show."""
        known = self.current_font.cmap  # type: ignore[union-attr]
        return "".join(c if ord(c) in known else "?" for c in text)

    def heading(self, text: str, room: float = 40.0) -> None:
        """Begin a section, on a new page if `room` mm are not left."""
        if self.get_y() > 285.0 - room:
            self.add_page()
        self.ln(3.5)
        self.ink(INK, 12.0, "B")
        self.cell(WIDTH, 6.0, self.fit(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(1.0)

    def paragraph(self, text: str, colour: Colour = INK, style: str = "") -> None:
        """Write running text."""
        self.ink(colour, 9.5, style)
        self.multi_cell(WIDTH, 4.6, self.fit(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(0.8)

    def points(self, lines: Sequence[str], colour: Colour = INK) -> None:
        """Write a list."""
        for line in lines:
            self.ink(colour)
            self.set_x(LEFT)
            self.cell(4.0, 4.6, "–")
            self.multi_cell(
                WIDTH - 4.0, 4.6, self.fit(line), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT
            )

    def pairs(self, pairs: Sequence[tuple[str, str]]) -> None:
        """Write names and values in two columns of pairs; pairs without a value are left out."""
        shown = [(name, value) for name, value in pairs if value]
        for i in range(0, len(shown), 2):
            top = self.get_y()
            bottoms = []
            for k, (name, value) in enumerate(shown[i : i + 2]):
                self.set_xy(LEFT + k * WIDTH / 2, top)
                self.ink(SOFT, 8.5)
                self.cell(30.0, 4.6, self.fit(name))
                self.ink(INK, 9.5)
                self.multi_cell(WIDTH / 2 - 33.0, 4.6, self.fit(value), align="L")
                bottoms.append(self.get_y() + 4.6 if self.get_y() == top else self.get_y())
            self.set_xy(LEFT, max(bottoms))

    def rows(
        self, head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[int]
    ) -> None:
        """Write a table."""
        self.ink(INK, 8.5)
        self.set_draw_color(*LINE)
        self.set_fill_color(255, 255, 255)
        style = FontFace(emphasis="BOLD", color=INK, fill_color=(238, 240, 243))
        with self.table(
            col_widths=tuple(widths),
            width=WIDTH,
            align="LEFT",
            text_align="LEFT",
            line_height=4.6,
            headings_style=style,
            borders_layout="HORIZONTAL_LINES",
            padding=0.6,
        ) as table:
            for row in (head, *rows):
                table.row([self.fit(cell) for cell in row])
        self.ln(1.0)
