import pytest

from app.compute.clean_air.conversions import from_cubic_feet_per_minute
from app.compute.clean_air.room_need import need_by_155_rule, need_by_air_changes


def test_air_changes_times_volume():
    need = need_by_air_changes(20.0, 2.5, 4.0)
    assert (need.rate_m3_per_h, need.volume_m3) == (200.0, 50.0)
    assert need.assumptions[0] == "4 air changes per hour of the whole room, 50 m³."


def test_a_higher_ceiling_than_the_rules_gives_fewer_air_changes_and_says_so():
    need = need_by_155_rule(20.0, 3.0)
    assert need.air_changes_per_h == pytest.approx(236.0 / 60.0, abs=0.01)
    assert need.assumptions[-1] == "With this ceiling of 3 m the same rate gives 3.93 air changes per hour."
    assert len(need_by_155_rule(20.0).assumptions) == 2


@pytest.mark.parametrize("size", [(0.0, 2.5), (20.0, -1.0)])
def test_a_room_without_size_is_refused(size):
    with pytest.raises(ValueError, match=r"room is .* m² and .* m high; both must be above zero"):
        need_by_155_rule(*size)


def test_no_air_changes_are_refused():
    with pytest.raises(ValueError, match="air changes are 0 an hour; they must be above zero"):
        need_by_air_changes(20.0, 2.5, 0.0)


@pytest.mark.parametrize(
    ("floor_ft2", "smallest_rate_cfm"), [(100, 65), (200, 130), (300, 195), (400, 260), (500, 325), (600, 390)]
)
def test_sizing_table_of_a_public_guide(floor_ft2, smallest_rate_cfm):
    """US EPA, Guide to Air Cleaners in the Home, 2nd edition, 2018, sizing table, from memory: the next 5 ft³/min above
    the floor over 1.55. Ceiling of 8 ft: 4.84 air changes an hour (recomputed)."""
    need = need_by_155_rule(floor_ft2 * 0.09290304)
    assert from_cubic_feet_per_minute(smallest_rate_cfm - 5) < need.rate_m3_per_h
    assert need.rate_m3_per_h <= from_cubic_feet_per_minute(smallest_rate_cfm)
    assert need.air_changes_per_h == pytest.approx(4.83871, abs=1e-5)
