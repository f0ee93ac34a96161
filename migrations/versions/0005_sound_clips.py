"""Recorded sound of units with its calibration, levels, third octaves and tones."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

REAL = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "sound_clips",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_under_test_id", sa.Integer(), nullable=False),
        sa.Column("setting_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("channel", sa.Integer(), nullable=False),
        sa.Column("recorded_on", sa.Text(), nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("instrument", sa.Text(), nullable=False),
        sa.Column("distance_m", REAL, nullable=False),
        sa.Column("calibration_kind", sa.Text(), nullable=False),
        sa.Column("calibration_level_db", REAL, nullable=True),
        sa.Column("calibration_sha256", sa.Text(), nullable=True),
        sa.Column("calibration_tone_hz", REAL, nullable=True),
        sa.Column("pascal_per_unit", REAL, nullable=True),
        sa.Column("duration_s", REAL, nullable=False),
        sa.Column("sample_rate_hz", REAL, nullable=False),
        sa.Column("equivalent_level_dba", REAL, nullable=False),
        sa.Column("fast_maximum_dba", REAL, nullable=False),
        sa.Column("l10_dba", REAL, nullable=False),
        sa.Column("l90_dba", REAL, nullable=False),
        sa.Column("peak", REAL, nullable=False),
        sa.Column("overloaded", sa.Integer(), nullable=False),
        sa.Column("tone_method", sa.Text(), nullable=False),
        sa.Column("character_words", sa.Text(), nullable=False),
        sa.Column("cautions", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("stored_at", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(calibration_kind = 'none') = (pascal_per_unit IS NULL)", name=op.f("ck_sound_clips_calibrated")
        ),
        sa.CheckConstraint(
            "calibration_kind IN ('none', 'tone', 'known level')", name=op.f("ck_sound_clips_calibration_kind")
        ),
        sa.CheckConstraint("distance_m > 0", name=op.f("ck_sound_clips_distance_m")),
        sa.ForeignKeyConstraint(
            ["calibration_sha256"], ["raw_files.sha256"], name=op.f("fk_sound_clips_calibration_sha256_raw_files")
        ),
        sa.ForeignKeyConstraint(
            ["setting_id"],
            ["speed_settings.id"],
            name=op.f("fk_sound_clips_setting_id_speed_settings"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["sha256"], ["raw_files.sha256"], name=op.f("fk_sound_clips_sha256_raw_files")),
        sa.ForeignKeyConstraint(
            ["unit_under_test_id"],
            ["units_under_test.id"],
            name=op.f("fk_sound_clips_unit_under_test_id_units_under_test"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sound_clips")),
        sa.UniqueConstraint("setting_id", "sha256", name=op.f("uq_sound_clips_setting_id_sha256")),
        sqlite_strict=True,
    )
    op.create_index("ix_sound_clips_unit", "sound_clips", ["unit_under_test_id", "setting_id"])
    op.create_table(
        "sound_clip_bands",
        sa.Column("clip_id", sa.Integer(), nullable=False),
        sa.Column("nominal_hz", REAL, nullable=False),
        sa.Column("level_db", REAL, nullable=False),
        sa.Column("level_dba", REAL, nullable=False),
        sa.ForeignKeyConstraint(
            ["clip_id"], ["sound_clips.id"], name=op.f("fk_sound_clip_bands_clip_id_sound_clips"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("clip_id", "nominal_hz", name=op.f("pk_sound_clip_bands")),
        sqlite_strict=True,
    )
    op.create_table(
        "sound_clip_tones",
        sa.Column("clip_id", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("frequency_hz", REAL, nullable=False),
        sa.Column("prominence_ratio_db", REAL, nullable=False),
        sa.Column("criterion_db", REAL, nullable=False),
        sa.Column("prominent", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["clip_id"], ["sound_clips.id"], name=op.f("fk_sound_clip_tones_clip_id_sound_clips"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("clip_id", "rank", name=op.f("pk_sound_clip_tones")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("sound_clip_tones")
    op.drop_table("sound_clip_bands")
    op.drop_index("ix_sound_clips_unit", table_name="sound_clips")
    op.drop_table("sound_clips")
