"""The portable modules on other targets: C++ around them, a 32-bit core, one nobody knows."""

import shutil
import subprocess
from pathlib import Path
from types import ModuleType

import pytest

from firmware.conftest import HERE, PORTABLE, REFERENCE
from firmware.harness import need
from wattsump_logger.wire.events import EventFrame, Gap, Hello, Reading
from wattsump_logger.wire.frames import FrameParser


def test_a_target_nobody_knows_is_refused_and_not_left_without_a_lock() -> None:
    need(() if shutil.which("cc") else ("a C compiler named cc",))
    names = ("__unix__", "__APPLE__", "_WIN32", "__arm__")
    ran = subprocess.run(
        ["cc", "-fsyntax-only", *(f"-U{name}" for name in names), str(REFERENCE / "critical.h")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode != 0
    assert "expected a target that critical.h knows" in ran.stderr


def test_a_program_in_another_language_links_against_the_modules(tmp_path: Path) -> None:
    need(tuple(f"a compiler named {name}" for name in ("cc", "c++") if not shutil.which(name)))
    source = tmp_path / "use.cpp"
    source.write_text(
        "".join(f'#include "{name}.h"\n' for name in PORTABLE)
        + "int main() { return crc16_add(CRC16_START, 0x31) == 0xC782 && cause_name(1)[0] == 'p'"
        " ? 0 : 1; }\n"
    )
    # independent: CRC-16/IBM-3740 of "1", worked out by binascii.crc_hqx; exact
    objects = []
    for name in ("crc16", "cause"):
        objects.append(tmp_path / f"{name}.o")
        subprocess.run(
            ["cc", "-c", "-o", str(objects[-1]), str(REFERENCE / f"{name}.c")], check=True
        )
    program = tmp_path / "use"
    subprocess.run(
        ["c++", f"-I{REFERENCE}", "-o", str(program), str(source), *map(str, objects)], check=True
    )
    assert subprocess.run([str(program)], check=False).returncode == 0


@pytest.mark.chip
def test_every_portable_module_compiles_for_a_32_bit_core_without_a_warning(tmp_path: Path) -> None:
    need(() if shutil.which("arm-none-eabi-gcc") else ("arm-none-eabi-gcc",))
    for name in PORTABLE:
        subprocess.run(
            [
                "arm-none-eabi-gcc",
                "-mcpu=cortex-m0plus",
                "-mthumb",
                "-ffreestanding",
                "-Os",
                "-Wall",
                "-Wextra",
                "-Wconversion",
                "-Werror",
                "-c",
                "-o",
                str(tmp_path / f"{name}.o"),
                str(REFERENCE / f"{name}.c"),
            ],
            check=True,
        )
    listing = subprocess.run(
        ["arm-none-eabi-objdump", "-d", str(tmp_path / "ring.o")],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    commit = listing.split("<ring_commit>:")[1].split("\n\n")[0]
    assert commit.index("cpsid") < commit.index("strh") < commit.index("msr")


@pytest.mark.chip
def test_a_small_32_bit_core_says_the_same_bytes_as_this_host(
    table_image: ModuleType, tmp_path: Path
) -> None:
    """The emulated core is a Cortex-M0: the M0+'s instructions, one stage more of pipeline."""
    tools = ("cc", "arm-none-eabi-gcc", "qemu-system-arm")
    need(tuple(name for name in tools if shutil.which(name) is None))
    table = tmp_path / "table.txt"
    table.write_text(
        "period 250\ntank max31855 K cs1\noil max31856 T cs6\nflow pulse lpm pulse1 450\n"
    )
    assert table_image.main([str(table), "--inc", str(tmp_path / "table.inc")]) == 0
    sources = [str(HERE / "host" / "small_core.c")]
    sources += [str(REFERENCE / f"{name}.c") for name in PORTABLE]
    shared = ["-std=gnu11", "-Os", "-Wall", "-Wextra", "-Werror", f"-I{REFERENCE}", f"-I{tmp_path}"]
    places = ("--section-start=.vectors=0", "-Ttext=0x100", "-Tdata=0x20000000")
    links = ("--defsym=stack_top=0x20004000", "--entry=0x100")
    small = ["-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding", "-nostdlib"]
    linking = f"-Wl,{','.join(places + links)}"
    on_host, on_core = str(tmp_path / "host"), str(tmp_path / "core.elf")
    subprocess.run(["cc", *shared, "-o", on_host, *sources], check=True)
    subprocess.run(
        ["arm-none-eabi-gcc", *shared, *small, linking, "-o", on_core, *sources, "-lgcc"],
        check=True,
    )
    board = ["-M", "microbit", "-nographic", "-monitor", "none", "-serial", "none"]
    line = tmp_path / "line.bin"
    semihosting = ["-semihosting-config", "enable=on,target=native,chardev=line"]
    semihosting += ["-chardev", f"file,id=line,path={line}"]
    here = subprocess.run([on_host], capture_output=True, check=True).stdout
    subprocess.run(
        ["qemu-system-arm", *board, *semihosting, "-kernel", on_core],
        stdin=subprocess.DEVNULL,
        check=True,
        timeout=60,
    )
    assert line.read_bytes() == here
    events = FrameParser().feed(here)
    assert isinstance(events[0], Hello)
    assert sum(isinstance(event, Reading) for event in events) > 30
    codes = [event.code for event in events if isinstance(event, EventFrame)]
    assert codes == ["boot", "mark", "overrun"]
    assert [type(event) for event in events if isinstance(event, Gap)] == [Gap]
