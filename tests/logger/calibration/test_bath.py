"""Probes matched, tied to known temperatures, and pointed at where they read nonsense."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from checkout import BRACKEN
from refusal import refused
from wattsump_logger.arrays import FloatArray
from wattsump_logger.calibration.bath import (
    BOIL,
    ICE,
    Fixed,
    at_fixed_point,
    drop_worth,
    joined,
    line_from_pairs,
    match,
    raw_readings,
    strange,
    temperatures,
)
from wattsump_logger.calibration.corrections import Calibration, LineCorrection
from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.session.reader import Session

MADE = date(2026, 5, 4)


def session(metadata: dict[str, object] | None = None, **columns: FloatArray) -> Session:
    n = len(next(iter(columns.values())))
    return Session(
        path=Path("bucket.csv"),
        elapsed_s=np.arange(n, dtype=np.float64),
        columns=columns,
        metadata=metadata or {},
    )


def bucket(**offsets_k: float) -> Session:
    rng = np.random.default_rng(4)
    bath = 45.0 + 0.02 * rng.standard_normal(600)
    return session(None, **{f"{name}_c": bath + offset for name, offset in offsets_k.items()})


def test_after_the_match_all_probes_read_the_same() -> None:
    read = bucket(tank=0.5, cooler_in=-0.25, cooler_out=-0.25)
    found, remarks = match(read)
    corrected = [
        read.columns[f"{name}_c"].mean() + offset
        for name, offset in zip(found.names, found.offset_k, strict=True)
    ]
    assert np.ptp(corrected) < 1e-9
    assert remarks == ()


def test_a_match_made_again_of_a_corrected_session_gives_the_same_offsets() -> None:
    plain = bucket(tank=0.5, ambient=-0.5)
    profile = {
        "name": "Bracken",
        "oil": {"grade": "VG 46", "volume": "18 L"},
        "channels": {"tank": {"offset": "-0.3 K", "slope": 0.01, "slope_at": "40 degC"}},
    }
    made = plain.columns["tank_c"]
    columns = dict(plain.columns) | {"tank_c": made - 0.3 + 0.01 * (made - 40.0)}
    corrected = session({"profile": profile}, **columns)
    assert np.allclose(raw_readings(corrected)["tank"], made, rtol=0, atol=1e-9)
    assert match(corrected)[0].offset_k == pytest.approx(match(plain)[0].offset_k, abs=1e-9)


def test_a_profile_that_cannot_be_read_any_more_leaves_readings_as_they_are() -> None:
    read = session({"profile": {"old": 1}}, tank_c=np.full(20, 40.0))
    assert (raw_readings(read)["tank"] == 40).all()


def test_only_the_time_asked_for_counts() -> None:
    temps = np.r_[np.linspace(20, 45, 300), np.full(300, 45.0)]
    read = session(tank_c=temps, ambient_c=temps + 0.5)
    assert [remark.code for remark in match(read)[1]] == ["bath-drifted"]
    found, remarks = match(read, from_s=300.0)
    assert (found.readings, remarks) == (300, ())


def test_a_probe_that_was_not_in_the_bucket_is_pointed_out() -> None:
    read = bucket(tank=0.1, cooler_in=-0.1, cooler_out=0.0, case_drain=0.05, ambient=-20.0)
    _, remarks = match(read)
    assert [remark.code for remark in remarks] == ["bath-probes-apart", "probe-stands-apart"]
    assert remarks[1].text.startswith("ambient ")


def test_what_the_match_buys_for_heat_from_oil_flow_is_a_smaller_share_of_the_drop() -> None:
    found, _ = match(bucket(cooler_in=0.2, cooler_out=-0.2))
    said = drop_worth(found, BRACKEN)
    matched, unmatched = (int(word[1:]) for word in said.split() if word.startswith("±"))
    assert 0 < matched < unmatched
    assert drop_worth(found, None) == ""
    assert drop_worth(match(bucket(tank=0.0, ambient=0.1))[0], BRACKEN) == ""


def test_ice_gives_each_probe_its_offset_with_date_and_uncertainty() -> None:
    read = session(tank_c=np.full(100, 0.75), cooler_in_c=np.full(100, -0.25))
    point = Fixed(method=ICE, true_c=0.0, u_true_k=0.05)
    tank, inlet = at_fixed_point(read, (), point, MADE)
    assert (tank.probe, tank.made, tank.method) == ("tank", MADE, ICE)
    assert tank.correction.intercept_k == -0.75
    assert inlet.correction.intercept_k == 0.25
    # independent: by hand, a step of 0.25/sqrt 12 = 0.0722 with 0.05 in squares, to 3 digits
    assert tank.correction.u_intercept_k == pytest.approx(0.0878, abs=5e-5)


def test_a_probe_that_was_not_in_the_ice_is_refused() -> None:
    read = session(tank_c=np.full(100, 21.0))
    point = Fixed(method=ICE, true_c=0.0, u_true_k=0.05)
    with pytest.raises(RangeError, match=r"expected about 0.0 degC, found 21.0 degC"):
        at_fixed_point(read, (), point, MADE)


def fixed(method: str, true_c: float, offset_k: float, u_k: float) -> Calibration:
    return Calibration(
        probe="tank",
        made=MADE,
        method=method,
        correction=LineCorrection(
            reference_c=true_c,
            intercept_k=offset_k,
            slope=0.0,
            u_intercept_k=u_k,
            u_slope=0.0,
            correlation=0.0,
            residual_k=0.0,
            dof=99.0,
        ),
        low_c=-40.0,
        high_c=160.0,
    )


@pytest.mark.parametrize("turned", [False, True])
def test_ice_and_boiling_water_make_a_line_that_is_right_at_both_with_their_uncertainty(
    turned: bool,
) -> None:
    ice, boil = fixed(ICE, 0.0, -0.5, 0.09), fixed(BOIL, 99.0, 0.8, 0.2)
    line = joined(boil, ice) if turned else joined(ice, boil)
    for one in (ice, boil):
        reading_c = one.correction.reference_c - one.correction.intercept_k
        correction_k, u_k = line.correction.at(reading_c)
        assert correction_k == pytest.approx(one.correction.intercept_k, abs=1e-12)
        assert u_k == pytest.approx(one.correction.u_intercept_k, abs=1e-12)


def test_the_lines_uncertainty_between_the_points_is_that_of_drawn_pairs() -> None:
    ice, boil = fixed(ICE, 0.0, -0.5, 0.09), fixed(BOIL, 99.0, 0.8, 0.2)
    line = joined(ice, boil).correction
    rng = np.random.default_rng(7)
    b_1, b_2 = rng.normal(-0.5, 0.09, 200_000), rng.normal(0.8, 0.2, 200_000)
    at_c, t_1, t_2 = 65.0, 0.5, 98.2
    drawn = b_1 + (b_2 - b_1) * (at_c - t_1) / (t_2 - t_1)
    # independent: JCGM 101 by 200 000 draws, whose own standard deviation is 0.2 %
    assert line.at(at_c)[1] == pytest.approx(drawn.std(), rel=0.01)


def test_a_point_alone_stays_an_offset_and_replaces_its_like() -> None:
    new = fixed(ICE, 0.0, 0.1, 0.09)
    assert joined(None, new) is new
    assert joined(fixed(ICE, 0.0, -0.5, 0.09), new) is new


def test_a_table_of_pairs_gives_the_guides_straight_line(tmp_path: Path) -> None:
    # published: JCGM 100:2008, table H.6: thermometer reading and observed correction
    readings = (
        21.521,
        22.012,
        22.512,
        23.003,
        23.507,
        23.999,
        24.513,
        25.002,
        25.503,
        26.010,
        26.511,
    )
    corrections = (
        -0.171,
        -0.169,
        -0.166,
        -0.159,
        -0.164,
        -0.165,
        -0.156,
        -0.157,
        -0.159,
        -0.161,
        -0.160,
    )
    pairs = tmp_path / "pairs.csv"
    rows = [f"{t},{t + b:.3f}" for t, b in zip(readings, corrections, strict=True)]
    pairs.write_text("reading_c,true_c\n" + "\n".join(rows) + "\n", encoding="utf-8")
    made = line_from_pairs(pairs, "tank", MADE)
    correction_k, u_k = made.correction.at(30.0)
    # published: JCGM 100:2008, H.3.4: b(30 degC) = -0.1494, u = 0.0041, to their last digit
    assert correction_k == pytest.approx(-0.1494, abs=5e-5)
    assert u_k == pytest.approx(0.0041, abs=5e-5)
    assert (made.low_c, made.high_c) == (21.521, 26.511)


@pytest.mark.parametrize(
    "text", ["", "a,b\n1,2\n", "reading_c,true_c\n1,x\n", "reading_c,true_c\n1\n"]
)
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    pairs = tmp_path / "pairs.csv"
    pairs.write_text(text, encoding="utf-8")
    with pytest.raises((UsageError, RangeError)):
        line_from_pairs(pairs, "tank", MADE)
    with refused(UsageError, "none.csv"):
        line_from_pairs(tmp_path / "none.csv", "tank", MADE)


def test_a_sound_outing_has_nothing_strange() -> None:
    t = np.arange(3600.0)
    warm = 20 + 40 * (1 - np.exp(-t / 900))
    air = 18 + 0.3 * np.sin(t / 600)
    read = session(tank_c=warm, cooler_in_c=warm - 1, cooler_out_c=warm - 6, ambient_c=air)
    assert strange(read) == ()


def test_each_strange_reading_is_pointed_out_by_name() -> None:
    t = np.arange(3600.0)
    warm = 20 + 40 * (1 - np.exp(-t / 900))
    dead, full, stuck = warm.copy(), warm.copy(), warm.copy()
    dead[100:110] = 0.0
    full[200:203] = 2047.75
    stuck[1000:2000] = stuck[1000]
    read = session(
        tank_c=dead,
        metal_c=full,
        case_drain_c=stuck,
        cooler_in_c=warm - 6,
        cooler_out_c=warm - 1,
        ambient_c=18 + 6 * np.sign(np.sin(t / 120)),
    )
    found = strange(read)
    assert {(remark.text.split()[0], remark.code) for remark in found} == {
        ("tank", "reads-zero"),
        ("metal", "reads-end-of-scale"),
        ("case_drain", "reading-stuck"),
        ("ambient", "ambient-swings"),
        ("cooler_in", "probes-look-swapped"),
    }
    assert found[0].text.endswith("(10 readings, first at 100 s)")


def test_a_soak_may_stand_still() -> None:
    assert strange(session(tank_c=np.full(3600, 12.25))) == ()


def test_a_channel_that_is_not_there_is_refused_by_name() -> None:
    with refused(UsageError, "bucket.csv"):
        temperatures(bucket(tank=0.0), ["sump"])
    with refused(UsageError, "bucket.csv"):
        temperatures(session(fan_on=np.ones(5)))
