"""What the bench sees of a request through the network."""

from typing import Any

from fastapi import Request
from pydantic import BaseModel

from app.services.access.seen_request import SeenRequest, request_problems
from app.web.api.shapes import problem_answers
from app.web.routers import api_router

router = api_router("health")


class Network(BaseModel):
    """`seen` is the request as the bench understood it; `problems` say what is wrong and what to do."""

    seen: dict[str, Any]
    problems: list[str]


@router.get("/network", responses=problem_answers())
def network(request: Request) -> Network:
    """For finding out whether a proxy in front of the bench is set up correctly."""
    seen: SeenRequest = request.state["seen"]
    return Network(seen=seen.document(), problems=list(request_problems(seen)))
