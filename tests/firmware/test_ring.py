"""The ring against a plain queue: whole drafts or nothing, in order, within its bound."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("put"), st.binary(min_size=1, max_size=40)),
        st.tuples(st.just("take"), st.integers(min_value=0, max_value=40)),
    ),
    max_size=60,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(steps=STEPS, size=st.sampled_from([2, 16, 32, 64]))
def test_a_ring_behaves_as_a_bounded_queue_of_whole_drafts(harness, steps, size):
    harness.order(f"ring {size} 0")
    queue = b""
    for what, value in steps:
        if what == "put":
            room = size - 1 - len(queue)
            assert harness.order(f"put {value.hex()}") == str(min(len(value), room))
            queue += value if len(value) <= room else b""
        else:
            assert bytes.fromhex(harness.order(f"take {value}")) == queue[:value]
            queue = queue[value:]
        assert harness.order("room") == str(size - 1 - len(queue))
