"""The ring against a plain queue: whole drafts or nothing, in order, within its bound."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware.harness import Harness

# Bytes are put as one draft; a number is so many bytes taken.
STEPS = st.lists(
    st.one_of(st.binary(min_size=1, max_size=40), st.integers(min_value=0, max_value=40)),
    max_size=60,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(steps=STEPS, size=st.sampled_from([2, 16, 32, 64]))
def test_a_ring_behaves_as_a_bounded_queue_of_whole_drafts(
    harness: Harness, steps: list[bytes | int], size: int
) -> None:
    harness.order(f"ring {size} 0")
    queue = b""
    for step in steps:
        if isinstance(step, bytes):
            room = size - 1 - len(queue)
            assert harness.order(f"put {step.hex()}") == str(min(len(step), room))
            queue += step if len(step) <= room else b""
        else:
            assert bytes.fromhex(harness.order(f"take {step}")) == queue[:step]
            queue = queue[step:]
        assert harness.order("room") == str(size - 1 - len(queue))
