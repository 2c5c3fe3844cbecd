"""The portable modules on other targets: C++ around them, a 32-bit core, one nobody knows."""

import shutil
import subprocess
from pathlib import Path

import pytest

from firmware.conftest import PORTABLE, REFERENCE
from firmware.harness import need


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
