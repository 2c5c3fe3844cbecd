"""Draw the two pictures of these notes: the wiring, and a machine with its probes.

    python firmware-notes/draw.py            # writes firmware-notes/pictures/*.svg

Colours follow the reader's light or dark setting; on paper they are black on white.
"""

import sys
from pathlib import Path
from xml.sax.saxutils import escape

__all__ = ("main", "pictures")

FOLDER = Path(__file__).resolve().parent / "pictures"
STYLE = """
  :root { --ink: #1b1f24; --soft: #5b6570; --paper: #ffffff; --fill: #f1f4f7; --hot: #b3261e;
          --cold: #0b5cad; --probe: #8a4b00; }
  @media (prefers-color-scheme: dark) {
    :root { --ink: #e8ebee; --soft: #a4adb6; --paper: #14181c; --fill: #232a31; --hot: #ff8a80;
            --cold: #7ab8ff; --probe: #ffc069; }
  }
  @media print {
    :root { --ink: #000; --soft: #333; --paper: #fff; --fill: #fff; --hot: #000; --cold: #000;
            --probe: #000; }
  }
  .paper { fill: var(--paper); }
  .wire { fill: none; stroke: var(--ink); stroke-width: 1.6; }
  .box { fill: var(--fill); stroke: var(--ink); stroke-width: 1.6; }
  .dot { fill: var(--ink); }
  .hot { fill: none; stroke: var(--hot); stroke-width: 5; }
  .cold { fill: none; stroke: var(--cold); stroke-width: 5; }
  .loop { fill: none; stroke: var(--ink); stroke-width: 9; }
  .probe { fill: var(--paper); stroke: var(--probe); stroke-width: 3; }
  text { font-family: sans-serif; font-size: 14px; fill: var(--ink); }
  .small { font-size: 12px; fill: var(--soft); }
  .title { font-size: 16px; font-weight: bold; }
  .name { font-weight: bold; fill: var(--probe); }
"""


class Sheet:
    """One picture: lines and words at places in pixels."""

    def __init__(self, width: int, height: int, title: str, description: str) -> None:
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
            f'aria-labelledby="t d"><title id="t">{escape(title)}</title>'
            f'<desc id="d">{escape(description)}</desc><style>{STYLE}</style>',
            f'<rect class="paper" width="{width}" height="{height}"/>',
        ]

    def path(self, *points: tuple[float, float], kind: str = "wire") -> None:
        words = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._parts.append(f'<polyline class="{kind}" points="{words}"/>')

    def box(self, x: float, y: float, width: float, height: float, *lines: str) -> None:
        self._parts.append(
            f'<rect class="box" x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="4"/>'
        )
        top = y + height / 2 - 8 * (len(lines) - 1) + 5
        for number, line in enumerate(lines):
            self.text(x + width / 2, top + 16 * number, line, "middle")

    def text(self, x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> None:
        self._parts.append(
            f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" class="{kind}">'
            f"{escape(words)}</text>"
        )

    def dot(self, x: float, y: float) -> None:
        self._parts.append(f'<circle class="dot" cx="{x:g}" cy="{y:g}" r="3.5"/>')

    def probe(self, x: float, y: float) -> None:
        self._parts.append(f'<circle class="probe" cx="{x:g}" cy="{y:g}" r="8"/>')

    def circle(self, x: float, y: float, radius: float) -> None:
        self._parts.append(f'<circle class="box" cx="{x:g}" cy="{y:g}" r="{radius:g}"/>')

    def ground(self, x: float, y: float) -> None:
        for half, down in ((10, 0), (6, 5), (2, 10)):
            self.path((x - half, y + down), (x + half, y + down))

    def resistor(self, x: float, y: float, label: str, *, down: bool = False) -> None:
        """40 long from (x, y), to the right or down."""
        if down:
            self._parts.append(
                f'<rect class="box" x="{x - 6:g}" y="{y:g}" width="12" height="40"/>'
            )
            self.text(x + 11, y + 24, label, kind="small")
        else:
            self._parts.append(
                f'<rect class="box" x="{x:g}" y="{y - 6:g}" width="40" height="12"/>'
            )
            self.text(x + 20, y - 11, label, "middle", "small")

    def capacitor(self, x: float, y: float, label: str) -> None:
        """Downwards, 8 high, with its ground below."""
        self.path((x - 10, y), (x + 10, y))
        self.path((x - 10, y + 8), (x + 10, y + 8))
        self.text(x + 14, y + 9, label, kind="small")

    def diode(self, x: float, y: float, *, up: bool = False) -> None:
        """20 long from (x, y): to the right, or upwards."""
        if up:
            self.path((x - 8, y), (x + 8, y), (x, y - 16), (x - 8, y))
            self.path((x - 8, y - 16), (x + 8, y - 16))
        else:
            self.path((x, y - 8), (x, y + 8), (x + 16, y), (x, y - 8))
            self.path((x + 16, y - 8), (x + 16, y + 8))

    def suppressor(self, x: float, y: float) -> None:
        """32 long from (x, y) down, for both polarities."""
        self.path((x - 8, y), (x + 8, y), (x, y + 16), (x - 8, y))
        self.path((x - 8, y + 16), (x + 8, y + 16))
        self.path((x - 8, y + 32), (x + 8, y + 32), (x, y + 16), (x - 8, y + 32))

    def flow(self, x: float, y: float, dx: int, dy: int) -> None:
        """An arrowhead with its tip at (x, y), pointing along (dx, dy)."""
        back = (x - 16 * dx, y - 16 * dy)
        side = (9 * dy, 9 * dx)
        self.path(
            (x, y),
            (back[0] - side[0], back[1] - side[1]),
            (back[0] + side[0], back[1] + side[1]),
            kind="dot",
        )

    def svg(self) -> str:
        return "\n".join([*self._parts, "</svg>", ""])


def wiring() -> str:
    sheet = Sheet(
        1120,
        800,
        "Wiring of the controller",
        "Board with converters on one bus, coupler and divider inputs, pulse input, button and the "
        "supply from a vehicle; every value is in wiring.md.",
    )
    sheet.box(450, 40, 230, 500)
    sheet.text(565, 64, "328P board, 5 V, 16 MHz", "middle", "title")
    sheet.text(462, 310, "in3 (A2), pulse2 (4):", kind="small")
    sheet.text(462, 326, "like their neighbours", kind="small")
    sheet.path((490, 540), (490, 552))
    sheet.ground(490, 552)
    _converters(sheet)
    _coupler(sheet)
    _divider(sheet)
    _small_inputs(sheet)
    _supply(sheet)
    return sheet.svg()


def _pin(sheet: Sheet, y: float, words: str, *, left: bool) -> None:
    sheet.text(462 if left else 668, y + 5, words, "start" if left else "end")


def _converters(sheet: Sheet) -> None:
    for y, words in ((100, "cs1 (10)"), (240, "cs2 (9)"), (140, "clock (13)"), (180, "data (12)")):
        _pin(sheet, y, words, left=False)
    sheet.path((680, 140), (760, 140), (760, 280), (850, 280))
    sheet.path((760, 140), (850, 140))
    sheet.path((680, 180), (790, 180), (790, 320), (850, 320))
    sheet.path((790, 180), (850, 180))
    sheet.dot(760, 140)
    sheet.dot(790, 180)
    sheet.path((790, 180), (790, 70))
    sheet.resistor(790, 30, "10 kΩ to 3.3 V", down=True)
    for top, select in ((80, 100), (220, 240)):
        sheet.path((680, select), (850, select))
        sheet.box(850, top, 160, 120, "MAX31855", "with level shifters", "and regulator")
        for shift in (-12, 12):
            sheet.path((1010, top + 60 + shift), (1060, top + 60 + shift / 4), (1085, top + 60))
        sheet.dot(1087, top + 60)
        sheet.text(1084, top + 40, "probe", "end", "small")
    sheet.text(850, 362, "up to six, one select each: 10 9 8 7 6 5;", kind="small")
    sheet.text(850, 378, "10 kΩ from each select to 3.3 V as well", kind="small")
    sheet.text(905, 66, "5 V, ground and 100 nF at each", kind="small")
    _pin(sheet, 420, "data, clock (A4, A5)", left=False)
    for y in (412, 428):
        sheet.path((680, y), (850, y))
    sheet.box(850, 396, 160, 48, "MCP9600 (I2C)", "4.7 kΩ pull-ups")
    _pin(sheet, 490, "serial, USB", left=False)
    sheet.path((680, 490), (850, 490))
    sheet.box(850, 468, 160, 44, "laptop")


def _coupler(sheet: Sheet) -> None:
    sheet.text(20, 78, "fan, switched +")
    sheet.path((20, 105), (80, 105))
    sheet.resistor(80, 105, "2.2 kΩ (24 V: 4.7 kΩ)")
    sheet.box(170, 85, 150, 85)
    sheet.path((120, 105), (190, 105), (190, 118))
    sheet.path((182, 118), (198, 118), (190, 134), (182, 118))
    sheet.path((182, 134), (198, 134))
    sheet.path((190, 134), (190, 155), (20, 155))
    sheet.text(20, 173, "fan, its own ground")
    sheet.path((270, 108), (270, 148))
    sheet.path((270, 122), (300, 106), (450, 106))
    sheet.path((270, 134), (300, 150), (360, 150), (360, 166))
    sheet.path((300, 150), (288, 148), (293, 140), (300, 150), kind="dot")
    sheet.ground(360, 166)
    for y in (118, 130):
        sheet.path((214, y), (246, y))
        sheet.path((240, y - 4), (246, y), (240, y + 4))
    sheet.text(245, 80, "optocoupler", "middle", "small")
    sheet.text(112, 130, "1N4148 across", "middle", "small")
    sheet.text(112, 145, "the other way", "middle", "small")
    _pin(sheet, 106, "in1 (A0), low", left=True)


def _divider(sheet: Sheet) -> None:
    sheet.text(20, 210, "or: switched wire, 9 to 32 V")
    sheet.path((20, 240), (80, 240))
    sheet.resistor(80, 240, "100 kΩ")
    sheet.path((120, 240), (450, 240))
    _pin(sheet, 240, "in2 (A1)", left=True)
    for x in (170, 260, 350):
        sheet.dot(x, 240)
    sheet.path((170, 240), (170, 255))
    sheet.resistor(170, 255, "100 kΩ", down=True)
    sheet.path((170, 295), (170, 305))
    sheet.ground(170, 305)
    sheet.path((260, 240), (260, 270))
    sheet.capacitor(260, 270, "100 nF")
    sheet.path((260, 278), (260, 305))
    sheet.ground(260, 305)
    sheet.path((350, 240), (350, 274))
    sheet.diode(350, 290, up=True)
    sheet.path((350, 290), (350, 305))
    sheet.ground(350, 305)
    sheet.diode(350, 226, up=True)
    sheet.path((350, 240), (350, 226))
    sheet.path((350, 210), (350, 196))
    sheet.text(358, 204, "5 V", kind="small")
    sheet.text(366, 282, "BAT54S", kind="small")


def _small_inputs(sheet: Sheet) -> None:
    sheet.text(20, 357, "flow meter, open collector")
    sheet.path((20, 370), (200, 370))
    sheet.resistor(200, 370, "1 kΩ")
    sheet.path((240, 370), (450, 370))
    sheet.dot(300, 370)
    sheet.path((300, 370), (300, 384))
    sheet.capacitor(300, 384, "10 nF")
    sheet.path((300, 392), (300, 402))
    sheet.ground(300, 402)
    _pin(sheet, 370, "pulse1 (3)", left=True)
    sheet.text(20, 430, "mark button to ground")
    sheet.path((30, 458), (30, 450), (60, 450))
    sheet.path((60, 450), (92, 438))
    sheet.path((96, 450), (200, 450))
    sheet.resistor(200, 450, "1 kΩ")
    sheet.path((240, 450), (450, 450))
    _pin(sheet, 450, "button (2)", left=True)
    sheet.ground(30, 458)
    sheet.text(20, 497, "supply, behind the fuse")
    sheet.path((20, 510), (200, 510))
    sheet.resistor(200, 510, "150 kΩ")
    sheet.path((240, 510), (450, 510))
    sheet.dot(300, 510)
    sheet.path((300, 510), (300, 522))
    sheet.resistor(300, 522, "10 kΩ, 100 nF across", down=True)
    sheet.path((300, 562), (300, 570))
    sheet.ground(300, 570)
    _pin(sheet, 510, "adc3 (A3)", left=True)


def _supply(sheet: Sheet) -> None:
    y = 660
    sheet.text(20, 626, "Supply from a 12 V vehicle (24 V: see the page)", kind="title")
    sheet.box(20, y - 16, 90, 32, "battery +")
    sheet.path((110, y), (140, y))
    sheet.box(140, y - 10, 60, 20, "1 A")
    sheet.text(170, y + 28, "fuse, at the battery", "middle", "small")
    sheet.path((200, y), (250, y))
    sheet.resistor(250, y, "22 Ω, 5 W")
    sheet.path((290, y), (420, y))
    sheet.dot(350, y)
    sheet.path((350, y), (350, y + 34))
    sheet.suppressor(350, y + 34)
    sheet.path((350, y + 66), (350, y + 76))
    sheet.ground(350, y + 76)
    sheet.text(366, y + 48, "suppressor 24 V, 3 kW,", kind="small")
    sheet.text(366, y + 64, "bidirectional", kind="small")
    sheet.diode(420, y)
    sheet.text(428, y - 14, "Schottky", "middle", "small")
    sheet.path((436, y), (600, y))
    sheet.dot(540, y)
    sheet.path((540, y), (540, y + 34))
    sheet.capacitor(540, y + 34, "2200 µF, 50 V")
    sheet.path((540, y + 42), (540, y + 76))
    sheet.ground(540, y + 76)
    sheet.box(600, y - 25, 130, 50, "regulator 5 V", "stands 40 V")
    sheet.path((665, y + 25), (665, y + 76))
    sheet.ground(665, y + 76)
    sheet.path((730, y), (780, y), (780, 575), (565, 575), (565, 540))
    sheet.text(575, 566, "5 V; 100 nF at every chip", kind="small")
    sheet.text(820, y - 6, "or a battery pack for telephones", kind="small")
    sheet.text(820, y + 10, "at the USB plug, and none of this", kind="small")


def machine() -> str:
    sheet = Sheet(
        1040,
        560,
        "Where the probes go",
        "A hydrostatic drive: pump, motor, case drain, cooler with fan, tank and suction line, "
        "with the six probes on its low-pressure side.",
    )
    sheet.box(60, 60, 130, 90, "engine")
    sheet.path((260, 72), (610, 72), kind="loop")
    sheet.path((260, 138), (610, 138), kind="loop")
    sheet.circle(250, 105, 45)
    sheet.text(250, 102, "pump", "middle")
    sheet.text(250, 118, "and charge", "middle", "small")
    sheet.path((190, 105), (205, 105))
    sheet.circle(620, 105, 45)
    sheet.text(620, 110, "motor", "middle")
    sheet.text(435, 100, "high-pressure loop:", "middle")
    sheet.text(435, 118, "nothing is opened here", "middle")
    sheet.path((640, 145), (640, 250), (735, 250), kind="hot")
    sheet.box(735, 200, 70, 160, "cooler")
    sheet.path((735, 330), (560, 330), (560, 400), kind="cold")
    sheet.box(430, 400, 200, 110)
    sheet.text(446, 424, "tank")
    sheet.path((450, 455), (360, 455), (250, 455), (250, 150), kind="cold")
    sheet.circle(850, 280, 26)
    sheet.text(850, 285, "fan", "middle")
    sheet.flow(640, 235, 0, 1)
    sheet.flow(622, 330, -1, 0)
    sheet.flow(250, 380, 0, -1)
    for y in (235, 325):
        sheet.path((990, y), (925, y), (933, y - 5))
        sheet.path((925, y), (933, y + 5))
    sheet.text(985, 217, "air in", "end", "small")
    for x, y, name, words, at in (
        (640, 190, "case_drain", "hottest, with a legal limit", (470, 196)),
        (700, 250, "cooler_in", "metal at the port", (600, 276)),
        (700, 330, "cooler_out", "same way as cooler_in", (600, 356)),
        (530, 470, "tank", "mid-depth", (546, 466)),
        (250, 320, "pump_inlet", "suction line, airtight", (100, 300)),
        (960, 280, "ambient", "in the shade, in the", (900, 362)),
    ):
        sheet.probe(x, y)
        sheet.text(at[0], at[1], name, kind="name")
        sheet.text(at[0], at[1] + 16, words, kind="small")
    sheet.text(900, 394, "air the cooler draws,", kind="small")
    sheet.text(900, 410, "0.5 to 2 m before it", kind="small")
    sheet.probe(74, 500)
    sheet.text(92, 505, "a probe: in the oil by a tee or well,")
    sheet.text(92, 523, "or strapped on metal, never on a hose")
    return sheet.svg()


def pictures() -> dict[str, str]:
    """Every picture by its file name."""
    return {"wiring.svg": wiring(), "machine.svg": machine()}


def main() -> int:
    """Write the pictures."""
    FOLDER.mkdir(exist_ok=True)
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
