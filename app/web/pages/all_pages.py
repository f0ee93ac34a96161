"""Routers of the pages, in matching order: `/trials/add` before `/trials/{id}`."""

from fastapi import APIRouter

from app.web.pages.access import account, accounts, enter, sign_in
from app.web.pages.adding_a_trial import batch as trial_batch
from app.web.pages.adding_a_trial import other_use as trial_other_use
from app.web.pages.adding_a_trial import preview as trial_preview
from app.web.pages.adding_a_trial import upload as trial_upload
from app.web.pages.attachments import page as attachments
from app.web.pages.bench import (
    about,
    changes,
    control_chart,
    loggers,
    method,
    progress,
    rooms,
    search,
    smoke_sources,
    trash,
)
from app.web.pages.bench import database_server_advice as growing
from app.web.pages.bench import form as bench_form
from app.web.pages.costs import page as costs
from app.web.pages.costs import tariffs
from app.web.pages.downloads import charts, package, tables
from app.web.pages.live import demonstration as live_demonstration
from app.web.pages.live import list as live_list
from app.web.pages.live import page as live_page
from app.web.pages.logger_checks import form as logger_check_form
from app.web.pages.logger_checks import page as logger_checks
from app.web.pages.plans import campaigns as plan_campaigns
from app.web.pages.plans import page as plan_page
from app.web.pages.ranking import compare, curves, room_advice, weighted_order
from app.web.pages.ranking import order as rank_order
from app.web.pages.ranking import page as ranking
from app.web.pages.ranking import pictures as ranking_pictures
from app.web.pages.reviews import article as unit_article
from app.web.pages.reviews import article_files as unit_article_files
from app.web.pages.reviews import draft as unit_draft
from app.web.pages.reviews import draft_files as unit_draft_files
from app.web.pages.trials import edit as trial_edit
from app.web.pages.trials import figures as trial_figures
from app.web.pages.trials import list as trials
from app.web.pages.trials import marks as trial_marks
from app.web.pages.trials import page as trial_page
from app.web.pages.units import bulk, listen
from app.web.pages.units import clips as unit_clips
from app.web.pages.units import form as unit_form
from app.web.pages.units import list as units
from app.web.pages.units import measurements as unit_measurements
from app.web.pages.units import page as unit_page
from app.web.pages.units import undo as unit_undo

PAGE_ROUTERS: tuple[APIRouter, ...] = (
    ranking.router,
    ranking_pictures.router,
    rank_order.router,
    weighted_order.router,
    compare.router,
    curves.router,
    costs.router,
    tariffs.router,
    room_advice.router,
    listen.router,
    bulk.router,
    unit_form.router,
    unit_measurements.router,
    unit_clips.router,
    unit_undo.router,
    attachments.router,
    unit_draft.router,
    unit_article.router,
    units.router,
    unit_page.router,
    trials.router,
    plan_page.router,
    plan_campaigns.router,
    live_list.router,
    live_demonstration.router,
    live_page.router,
    trial_upload.router,
    trial_batch.router,
    trial_preview.router,
    trial_other_use.router,
    trial_figures.router,
    trial_page.router,
    trial_marks.router,
    trial_edit.router,
    rooms.router,
    control_chart.router,
    loggers.router,
    logger_check_form.router,
    logger_checks.router,
    smoke_sources.router,
    bench_form.router,
    changes.router,
    trash.router,
    sign_in.router,
    enter.router,
    account.router,
    accounts.router,
    method.router,
    growing.router,
    about.router,
    package.router,
    search.router,
    progress.router,
)

# downloads, at URLs that scripts may use, so they are in the API schema
DOWNLOAD_ROUTERS: tuple[APIRouter, ...] = (
    charts.router,
    tables.router,
    unit_draft_files.router,
    unit_article_files.router,
    package.file_router,
)
