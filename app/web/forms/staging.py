"""The dependency of routes that handle uploads waiting for confirmation."""

from typing import Annotated

from fastapi import Depends, Request

from app.services.adding_trials.staged_uploads import StagingArea, staging_area


def staging(request: Request) -> StagingArea:
    return staging_area(request.state["settings"], request.state["engine"])


StagingDep = Annotated[StagingArea, Depends(staging)]
