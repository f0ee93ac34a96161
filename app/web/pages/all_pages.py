"""The pages of the bench, in the order in which their addresses are tried: `/trials/add` before `/trials/{id}`."""

from fastapi import APIRouter

from app.web.pages import (
    bench_form,
    changes,
    charts,
    costs,
    curves,
    loggers,
    method,
    ranking,
    rooms,
    smoke_sources,
    trial_actions,
    trial_edit,
    trial_figures,
    trial_marks,
    trial_page,
    trial_preview,
    trial_upload,
    trials,
    unit_form,
    units,
)

PAGE_ROUTERS: tuple[APIRouter, ...] = (
    ranking.router,
    curves.router,
    costs.router,
    charts.router,
    unit_form.router,
    units.router,
    trials.router,
    trial_upload.router,
    trial_preview.router,
    trial_figures.router,
    trial_page.router,
    trial_marks.router,
    trial_edit.router,
    trial_actions.router,
    rooms.router,
    loggers.router,
    smoke_sources.router,
    bench_form.router,
    changes.router,
    method.router,
)
