from sqlalchemy import select

from app.services.bench.definitions import NewTariff
from app.services.bench.reference_tariffs import NATION, bring_in_reference_tariffs
from app.services.bench.tariffs import add_tariff
from app.storage.models.bench import Tariff
from tests.sample_data.measured_facts import DAY


def test_the_reference_table_comes_with_its_standing_and_only_once(session):
    """US EIA, Electric Power Annual, data for 2023: states read, averages of the nation from memory."""
    add_tariff(
        session,
        NewTariff(
            region="US, Alabama",
            price_per_kwh=0.99,
            currency="USD",
            valid_from=DAY.replace(year=2023, month=1, day=1),
            source="x",
        ),
    )
    assert bring_in_reference_tariffs(session, who="Ada") == 55
    assert bring_in_reference_tariffs(session) == 0
    rows = {(t.region, t.valid_from.year): (t.price_per_kwh, t.standing) for t in session.scalars(select(Tariff))}
    assert rows["US, Alabama", 2023] == (0.99, "")  # what was there stays
    assert rows["US, Alaska", 2023] == (0.239, "read")
    assert rows[NATION, 2023] == (0.16, "from memory")
    assert {t.currency for t in session.scalars(select(Tariff))} == {"USD"}
