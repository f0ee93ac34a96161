"""Invented large units and home-built boxes. No maker, model, price or claim here exists."""

from datetime import date

from seed_demo.scenario_types import CertifiedRate, InventedUnit, MakersClaim, Part, Speed

LARGE_UNITS = (
    InventedUnit(
        maker="Tumblefen",
        model="Bustard",
        kind="mechanical filter",
        speeds=(
            Speed("quiet", 95, 30.2, 9.3),
            Speed("medium", 210, 40.4, 24.1),
            Speed("high", 395, 54.0, 62.0, trials=2),
        ),
        standby_w=0.7,
        prices=((date(2025, 1, 9), 329.00), (date(2025, 11, 28), 279.00), (date(2026, 2, 3), 329.00)),
        parts=(Part("large filter", ((date(2025, 1, 9), 74.00), (date(2026, 2, 3), 79.00)), life_months=12),),
        story="Heavy and plain. Of the bought units it is the quietest at around a hundred cubic metres an hour.",
        voc_m3_per_h=25.0,
        size_mm=(380, 300, 690),
        mass_kg=9.2,
        ratings=(CertifiedRate("smoke", 405.0, date(2025, 1, 10), stated_in_cfm=True),),
        claims=(
            MakersClaim("clean_air_delivery_rate", 400.0, "m³/h", "400 m³/h of clean air", speed="high"),
            MakersClaim("sound_level", 31.0, "dB(A)", "31 dB on quiet", "at most", "quiet", distance_m=1.0),
        ),
    ),
    InventedUnit(
        maker="Kettlemoor",
        model="Ashcatcher 60",
        kind="mechanical filter",
        speeds=(
            Speed("low", 140, 36.2, 18.8),
            Speed("medium", 290, 46.0, 44.2),
            Speed("high", 520, 57.8, 97.6, trials=2),
        ),
        standby_w=0.3,
        prices=((date(2025, 1, 20), 279.00), (date(2025, 8, 11), 289.00)),
        parts=(
            Part(
                "pleated filter", ((date(2025, 1, 20), 59.00),), pieces_in_use=2, pack_size=1, life_running_hours=3000
            ),
        ),
        story="Two filters, two fans. At high speed people leave the room, at medium they do not notice.",
        size_mm=(420, 420, 620),
        mass_kg=9.9,
        ratings=(
            CertifiedRate("smoke", 534.0, date(2025, 1, 21), stated_in_cfm=True),
            CertifiedRate("dust", 549.0, date(2025, 1, 21), stated_in_cfm=True),
        ),
        claims=(MakersClaim("clean_air_delivery_rate", 540.0, "m³/h", "Up to 540 m³/h", "at most", "high"),),
    ),
    InventedUnit(
        maker="Larkspindle",
        model="Column Tall",
        kind="mechanical filter",
        speeds=(Speed("sleep", 38, 25.1, 5.0), Speed("mid", 120, 37.8, 17.3), Speed("max", 215, 50.6, 43.0, trials=2)),
        standby_w=1.8,
        prices=((date(2025, 1, 28), 449.00), (date(2025, 6, 6), 469.00), (date(2026, 3, 4), 419.00)),
        parts=(Part("filter cartridge", ((date(2025, 1, 28), 89.00),), life_months=12),),
        story="The Column, taller. It costs more than twice as much as the Bellows and cleans no faster.",
        voc_m3_per_h=14.0,
        size_mm=(230, 230, 1040),
        mass_kg=6.8,
        ratings=(CertifiedRate("smoke", None, date(2025, 2, 1)),),
        claims=(
            MakersClaim("clean_air_delivery_rate", 370.0, "m³/h", "A stream of 370 m³/h", speed="max"),
            MakersClaim("removal_efficiency", 99.95, "%", "Takes 99.95 % of particles", "at least"),
        ),
    ),
    InventedUnit(
        maker="Wexbarrow",
        model="Barn",
        kind="mechanical filter",
        speeds=(
            Speed("low", 160, 37.1, 21.8, trials=0),
            Speed("mid", 310, 47.3, 50.0),
            Speed("high", 560, 60.2, 114.0, trials=2),
        ),
        standby_w=0.0,
        prices=((date(2025, 2, 4), 199.00), (date(2025, 10, 13), 219.00)),
        parts=(Part("felt filter, large", ((date(2025, 10, 13), 34.00),), life_months=6),),
        story="A drum with a fan in it. The strongest on the bench, and no beauty. One run was logged every two "
        "minutes by mistake, which is too slow for a unit that takes nine tenths of the smoke in nine.",
        size_mm=(450, 450, 560),
        mass_kg=11.3,
        claims=(MakersClaim("clean_air_delivery_rate", 600.0, "m³/h", "600 cubic metres an hour", speed="high"),),
    ),
    InventedUnit(
        maker="Driftholm",
        model="Harbour",
        kind="mechanical filter",
        speeds=(Speed("eco", 130, 34.0, 14.2), Speed("high", 450, 55.5, 78.8, trials=2)),
        standby_w=0.4,
        prices=((date(2025, 3, 10), 389.00), (date(2025, 9, 22), 369.00)),
        parts=(
            Part("main filter", ((date(2025, 3, 10), 82.00),), life_months=12),
            Part("carbon tray", ((date(2025, 3, 10), 41.00),), life_months=12, life_running_hours=5000),
        ),
        story="For one of its runs the tin was left burning too long, and the logger stood at its end stop for "
        "several minutes; the readings there are not used.",
        voc_m3_per_h=60.0,
        size_mm=(430, 330, 700),
        mass_kg=12.6,
        ratings=(CertifiedRate("smoke", 459.0, date(2025, 3, 11)), CertifiedRate("pollen", 480.0, date(2025, 3, 11))),
        claims=(MakersClaim("sound_level", 50.0, "dB(A)", "Never above 50 dB", "at most", "high", distance_m=2.0),),
    ),
    InventedUnit(
        maker="Home-built",
        model="Box fan with four filters",
        kind="fan-and-filter box",
        speeds=(Speed("1", 190, 44.1, 42.0), Speed("2", 260, 51.2, 58.3), Speed("3", 330, 58.4, 77.9, trials=2)),
        standby_w=0.0,
        prices=((date(2025, 4, 7), 74.00),),
        parts=(
            Part("furnace filters", ((date(2025, 4, 7), 46.00),), pack_size=4, pieces_in_use=4, life_months=6),
            Part("tape", ((date(2025, 4, 7), 6.00),), kind="other", life_months=6),
        ),
        story="Four pleated filters, a cardboard floor, a fan on top, tape. Built in forty minutes by the editor. Keep "
        "such a box in sight while it runs, and mind the mains lead; local electrical rules come first.",
        by_size=(1.0, 1.12, 1.25),
        size_mm=(510, 510, 760),
        mass_kg=6.1,
        bought_from="built by the desk from parts of an invented hardware shop",
    ),
    InventedUnit(
        maker="Home-built",
        model="Eight small fans",
        kind="fan-and-filter box",
        speeds=(Speed("low", 70, 24.3, 4.2), Speed("high", 165, 33.0, 12.9, trials=2)),
        standby_w=0.8,
        prices=((date(2025, 4, 7), 131.00),),
        parts=(Part("furnace filters", ((date(2025, 4, 7), 27.00),), pack_size=2, pieces_in_use=2, life_months=6),),
        story="Eight fans of the size found in computers, on a 12 V supply, between two filters. A reader sent the "
        "drawing. Quieter at full speed than any other unit here at its middle one.",
        by_size=(1.0, 1.12, 1.25),
        size_mm=(520, 260, 520),
        mass_kg=5.0,
        bought_from="built by the desk from a reader's drawing",
    ),
)
