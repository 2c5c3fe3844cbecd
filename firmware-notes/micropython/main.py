"""The controller in MicroPython: one file, the same lines as the reference firmware.

Change `channels` below to your wiring; README.md says how to copy this file to a board. Frames for
which there is no room are dropped whole, counted and reported. Holding the mark button at power-up
exits, so that the files can be changed.
"""

import select
import sys
import time

import machine
import micropython

FIRMWARE = "wattsump-mpy-1.0"
PERIOD_MS = 1000  # 100 or more; 250 or more with a MAX6675; 1000 with a DS18B20
HELLO_MS = 60000
FIRST_MS = 300  # every converter has finished a conversion by then
BUTTON_PIN = 2
DEBOUNCE_MS = 20
QUEUE_BYTES = 2048  # more than two of the longest lines
LONGEST = 512
WRAP = 1 << 32


def channels():
    """The channels: name, source, detail, and a function whose result is None for no reading."""
    bus = machine.SPI(0, baudrate=1000000, sck=machine.Pin(18), miso=machine.Pin(16))
    return (
        ("tank", "max31855", "K", word_reader(bus, 17, 4)),
        ("cooler_in", "max31855", "K", word_reader(bus, 20, 4)),
        ("cooler_out", "max31855", "K", word_reader(bus, 21, 4)),
        ("ambient", "max31855", "K", word_reader(bus, 22, 4)),
        ("fan", "state", "", state_reader(10, low=True)),
        ("engine", "state", "", state_reader(11, low=True)),
        ("drive", "state", "", state_reader(12, low=True)),
        ("supply", "value", "v", volt_reader(26, full_scale_v=17.6)),
    )


def word_reader(bus, pin, size):
    """A converter's word in hex: 4 bytes of a MAX31855, 2 of a MAX6675."""
    chosen = machine.Pin(pin, machine.Pin.OUT, value=1)
    word = bytearray(size)

    def read():
        chosen(0)
        bus.readinto(word, 0)
        chosen(1)
        return "".join(f"{byte:02X}" for byte in word)

    return read


def state_reader(pin, low):
    """An on/off input: `low` for a coupler, with the pull-up on; else a divider, without."""
    level = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP if low else None)
    return lambda: "1" if bool(level()) != low else "0"


def volt_reader(pin, full_scale_v):
    """Volts before a divider, scaled by a meter's reading at full scale."""
    pin = machine.ADC(pin)
    return lambda: f"{pin.read_u16() * full_scale_v / 65535:.2f}"


def one_wire_reader(pin):
    """Temperature of the only DS18B20 on a pin, °C; each call starts the next conversion."""
    import ds18x20
    import onewire

    wire = ds18x20.DS18X20(onewire.OneWire(machine.Pin(pin)))
    found = wire.scan()
    is_started = False

    def read():
        nonlocal is_started
        try:
            degrees = wire.read_temp(found[0]) if is_started else None
            wire.convert_temp()
            is_started = True
        except Exception:  # the part is missing, or its checksum is wrong
            is_started = False
            return None
        # 85 is the part's value after a supply dip, before any conversion
        return None if degrees is None or degrees == 85.0 else f"{degrees:.2f}"

    return read


class Uptime:
    """Milliseconds since the start, to 2**32, from a count that wraps much earlier."""

    def __init__(self, ticks_ms=time.ticks_ms):
        self._ticks_ms = ticks_ms
        self._seen = ticks_ms()
        self._ms = 0

    def ms(self):
        now = self._ticks_ms()
        self._ms = (self._ms + time.ticks_diff(now, self._seen)) % WRAP
        self._seen = now
        return self._ms


def crc16(data):
    crc = 0xFFFF
    for byte in data:
        fold = (crc >> 8) ^ byte
        fold ^= fold >> 4
        crc = ((crc << 8) ^ (fold << 12) ^ (fold << 5) ^ fold) & 0xFFFF
    return crc


class Outbox:
    """Queue of whole frames with a counter; sent byte by byte, only while the port has room."""

    def __init__(self, port):
        self._port = port
        self._room = select.poll()
        self._room.register(port, select.POLLOUT)
        self._waiting = bytearray()
        self._seq = 0
        self._lost = 0

    def frame(self, kind, uptime_ms, body):
        head = f"{kind}1,{self._seq},{uptime_ms},{body}"
        line = f"{head}*{crc16(head.encode()):04X}\r\n".encode()
        self._seq = (self._seq + 1) % WRAP
        if len(line) > LONGEST or len(self._waiting) + len(line) > QUEUE_BYTES:
            self._lost += 1
        else:
            self._waiting += line

    def send(self, uptime_ms):
        while self._waiting and self._room.poll(0):
            self._port.write(self._waiting[:1])
            self._waiting = self._waiting[1:]
        if self._lost and len(self._waiting) + 64 <= QUEUE_BYTES:
            lost, self._lost = self._lost, 0
            self.frame("E", uptime_ms, f"overrun,{lost}")


class Every:
    """True once per period; keeps its phase and skips periods that were missed."""

    def __init__(self, period_ms, first_ms):
        self._period_ms = period_ms
        self._due_ms = first_ms % WRAP

    def due(self, now_ms):
        late_ms = (now_ms - self._due_ms) % WRAP
        if late_ms >= WRAP // 2:
            return False
        self._due_ms = (self._due_ms + (late_ms // self._period_ms + 1) * self._period_ms) % WRAP
        return True


class Button:
    """A single press however the contact chatters; level 0 is down."""

    def __init__(self, level):
        self._level = level
        self._down = False
        self._since_ms = None

    def pressed(self, now_ms):
        if (self._level() == 0) == self._down:
            self._since_ms = None
            return False
        if self._since_ms is None:
            self._since_ms = now_ms
        if (now_ms - self._since_ms) % WRAP < DEBOUNCE_MS:
            return False
        self._down, self._since_ms = not self._down, None
        return self._down


def boot_cause():
    """Why the board started, in the protocol's words; "unknown" if the board does not report it."""
    names = (("PWRON_RESET", "power"), ("WDT_RESET", "watchdog"), ("HARD_RESET", "external"))
    for name, cause in names:
        if machine.reset_cause() == getattr(machine, name, -1):
            return cause
    return "unknown"


def main():
    level = machine.Pin(BUTTON_PIN, machine.Pin.IN, machine.Pin.PULL_UP)
    if level() == 0:
        return
    micropython.kbd_intr(-1)  # no byte from the host may stop a recording
    wired = channels()
    uptime, outbox, button = Uptime(), Outbox(sys.stdout.buffer), Button(level)
    names = ";".join(f"{name}:{source}:{detail}" for name, source, detail, _ in wired)
    hello_body = f"{FIRMWARE},{PERIOD_MS},{names}"
    hello = Every(HELLO_MS, HELLO_MS)
    reading = Every(PERIOD_MS, (FIRST_MS + PERIOD_MS - 1) // PERIOD_MS * PERIOD_MS)
    outbox.frame("H", uptime.ms(), hello_body)
    outbox.frame("E", uptime.ms(), f"boot,{boot_cause()}")
    while True:
        now_ms = uptime.ms()
        if hello.due(now_ms):
            outbox.frame("H", now_ms, hello_body)
        if button.pressed(now_ms):
            outbox.frame("E", now_ms, "mark,button")
        if reading.due(now_ms):
            outbox.frame("R", now_ms, ",".join(read() or "" for _, _, _, read in wired))
        outbox.send(now_ms)
        time.sleep_ms(1)


if __name__ == "__main__":
    main()
