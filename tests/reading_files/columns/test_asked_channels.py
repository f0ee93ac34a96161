"""What a person may say a column holds: known channels, uses, and channels of their own that are asked for as such."""

import pytest

from app.errors import InvalidValue
from app.reading_files.columns.asked_channels import requested_channel
from app.reading_files.headers.channels import CHANNELS


@pytest.mark.parametrize(
    ("said", "name"),
    [
        *((name, name) for name in CHANNELS),
        ("PM2.5", "pm2_5"),
        ("pm10_b", "pm10_b"),
        ("count_0_3um", "count_0_3um"),
        ("count_0_3um_b", "count_0_3um_b"),
        ("band_1khz", "band_1khz"),
        ("lceq", "lceq"),
        ("", ""),
        ("time", "time"),
        ("elapsed", "elapsed"),
        ("box", "box"),
        ("status", "status"),
        ("own:NO2", "no2"),
        (" OWN: Wind speed ", "wind_speed"),
    ],
)
def test_what_is_known_or_marked_as_own_is_taken(said: str, name: str):
    assert requested_channel(said, "columns") == name


@pytest.mark.parametrize(
    ("said", "found", "meant"),
    [
        ("zzz", "There is no channel 'zzz'. Choose one of pm1, pm2_5", ""),
        ("no2", "There is no channel 'no2'.", ""),
        ("pm25", "There is no channel 'pm25'.", "Did you mean pm2_5?"),
        ("temprature", "There is no channel 'temprature'.", "Did you mean temperature?"),
        ("count_big", "There is no channel 'count_big'.", ""),
        ("zzz_b", "There is no channel 'zzz_b'.", ""),
    ],
)
def test_a_slip_of_the_pen_opens_no_channel(said: str, found: str, meant: str):
    with pytest.raises(InvalidValue) as refused:
        requested_channel(said, "columns")
    assert refused.value.field == "columns"
    assert found in refused.value.message
    assert meant in refused.value.message
    assert f"For any other channel enter own:{said}" in refused.value.message


@pytest.mark.parametrize("said", ["own:", "own: !!"])
def test_an_own_channel_needs_a_name(said: str):
    with pytest.raises(InvalidValue, match="own: must be followed by the channel name, such as own:no2"):
        requested_channel(said, "columns")
