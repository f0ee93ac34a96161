"""Signing in and signing out."""

from dataclasses import dataclass

from fastapi import Request
from starlette.responses import RedirectResponse, Response

from app.errors import NotSignedIn, TooManyAttempts
from app.services.access.sign_in import sign_in, sign_out
from app.web.current_user import current_user
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router
from app.web.security.session_cookie import drop_session_cookie, set_session_cookie
from app.web.templating.environment import render_page
from app.web.templating.page_context import make_shell

router = page_router()
PATH = "/sign-in"
LONGEST_ADDRESS = 2000


@dataclass(frozen=True, slots=True)
class SignInPage:
    """`next_address` is the page to continue with; "/" by default."""

    title: str
    form: TypedForm
    next_address: str
    signed_in_as: str


@router.get(PATH)
def sign_in_form(request: Request) -> Response:
    return _page(empty_form(), local_address(request.query_params.get("next", "")))


@router.post(PATH)
def signed_in(request: Request, form: TypedFormDep) -> Response:
    next_address = local_address(form.typed("next"))
    client = request.client.host if request.client else ""
    try:
        token = sign_in(request.state["engine"], form.text("name"), form.typed("password"), client)
    except (NotSignedIn, TooManyAttempts) as error:
        form.add_error("password", error.message)
        form.values.pop("password", None)
        return _page(form, next_address, error.status)
    answer = RedirectResponse(next_address, 303)
    set_session_cookie(answer, token, request.url.scheme)
    return answer


@router.post("/sign-out")
def signed_out(request: Request) -> Response:
    user = current_user()
    if user is not None and user.sign_in_id is not None:
        sign_out(request.state["engine"], user.sign_in_id)
    answer = RedirectResponse(PATH, 303)
    drop_session_cookie(answer, request.url.scheme)
    return answer


def local_address(address: str) -> str:
    r"""A URL within this bench; "/" for anything else.

    >>> local_address("/units/3?setting=high"), local_address("//bench.example"), local_address("/\\bench.example")
    ('/units/3?setting=high', '/', '/')
    """
    is_local = address.startswith("/") and not address.startswith(("//", "/\\")) and address.isprintable()
    return address if is_local and len(address) <= LONGEST_ADDRESS and not address.startswith(PATH) else "/"


def _page(form: TypedForm, next_address: str, status: int = 200) -> Response:
    user = current_user()
    page = SignInPage("Sign in", form, next_address, user.name if user else "")
    # the page reveals nothing about the bench, not even its name
    answer = render_page("pages/access/sign_in.html", page, make_shell(PATH), status_code=status)
    answer.headers["Cache-Control"] = "no-store"
    return answer
