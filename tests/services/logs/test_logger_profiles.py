"""Named ways of reading files: kept, replaced, brought back."""

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.reading_files.log_table import ReadingChoices
from app.services.logs.logger_profiles import list_profiles, load_profile, save_profile
from app.services.store.audit import changes_of

CHOICES = ReadingChoices(
    timezone="Europe/Berlin",
    columns={"Dust": "pm2_5", "Flag": ""},
    units={"Dust": "mg/m³", "T": "°F"},
    box="box 2",
    day_first=True,
    header_line=7,
)


def test_a_profile_comes_back_as_it_was_kept(session: Session):
    profile_id = save_profile(session, "Dust meter", CHOICES, who="Ann")
    assert load_profile(session, profile_id) == CHOICES
    assert [profile.name for profile in list_profiles(session)] == ["Dust meter"]


def test_a_profile_of_the_same_name_is_replaced_and_the_old_one_recorded(session: Session):
    profile_id = save_profile(session, "Dust meter", CHOICES)
    again = save_profile(session, "dust METER", ReadingChoices(columns={"Dust": "pm10"}))
    assert again == profile_id
    assert load_profile(session, profile_id) == ReadingChoices(columns={"Dust": "pm10"})
    change = changes_of(session, "logger profile", profile_id)[0]
    assert change.action == "changed"
    assert change.before == (
        "Europe/Berlin, box box 2, columns named by line 7, Dust = PM2.5; Flag = left out, Dust in mg/m³; T in °F, "
        "day first"
    )
    assert change.after == "Dust = PM10"


def test_a_profile_without_a_name_or_that_is_not_there_is_told(session: Session):
    with pytest.raises(InvalidValue, match="The name of the logger profile is empty"):
        save_profile(session, " ", CHOICES)
    with pytest.raises(NotFound, match="There is no logger profile 3 in this bench"):
        load_profile(session, 3)


def test_who_may_only_add_replaces_no_profile(session: Session):
    kept = save_profile(session, "Dust meter", CHOICES)
    with pytest.raises(InvalidValue) as refused:
        save_profile(session, "dust METER", ReadingChoices(columns={"Dust": "pm10"}), may_replace=False)
    assert refused.value.field == "profile_name"
    assert refused.value.message == (
        "The profile 'dust METER' already exists and reads files differently; replacing it needs the "
        "role “edit”. Choose another name, or leave it empty."
    )
    assert load_profile(session, kept).columns == CHOICES.columns
    assert save_profile(session, "dust METER", CHOICES, may_replace=False) == kept
    assert save_profile(session, "another", ReadingChoices(columns={"Dust": "pm10"}), may_replace=False) != kept
