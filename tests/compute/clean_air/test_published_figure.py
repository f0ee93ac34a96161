from app.compute.clean_air.published_figure import PublishedFigure


def figure(standing, year=2023):
    return PublishedFigure("limit", 1.0, "W", "body", "document", year, standing)


def test_only_what_was_read_or_recomputed_counts_as_verified():
    assert figure("read").verified
    assert figure("recomputed").verified
    assert not figure("read second-hand").verified
    assert not figure("from memory").verified


def test_the_caution_names_standing_and_year():
    assert figure("read").caution == ""
    assert figure("from memory").caution == "unverified: from memory, rule of 2023"
    assert figure("read second-hand", None).caution == "unverified: read second-hand"
