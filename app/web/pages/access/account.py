"""The user's own account: password, and API tokens."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.errors import InvalidValue, NotAllowed, TooManyAttempts
from app.services.access.accounts import Account, get_account, set_password
from app.services.access.api_tokens import ApiToken, add_api_token, list_api_tokens, revoke_api_token
from app.services.access.passwords import password_matches
from app.services.access.roles import ROLES, WORDS, may
from app.services.access.sign_in_throttle import forget_attempts, note_attempt
from app.web.api.shapes import Id
from app.web.current_user import current_user
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
PATH = "/account"


@dataclass(frozen=True, slots=True)
class AccountPage:
    """`account` is None for the local user of a bench without accounts; `new_token` is shown only once."""

    account: Account | None
    tokens: Sequence[ApiToken]
    roles: Sequence[Choice]
    form: TypedForm
    new_token: str = ""


@router.get(PATH)
def account(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/access/account.html", _page(session, empty_form()))


@router.post("/account/password")
def password_changed(request: Request, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    _refuse_token()
    user = current_user()
    # someone at a signed-in browser must not be able to guess the password; these attempts do not block signing in
    counted_as, client = f"present password of account {_own_id()}", request.client.host if request.client else ""
    try:
        tries = note_attempt(request.state["engine"], counted_as, client)
    except TooManyAttempts as error:
        form.add_error("present_password", error.message)
        return render("pages/access/account.html", _page(session, form), status_code=error.status)
    with form.attempt(session):
        own = get_account(session, _own_id())
        if not password_matches(own.password_hash, form.typed("present_password")):
            form.add_error("present_password", "Wrong current password. Try again.")
        else:
            forget_attempts(session, tries, name=counted_as)
        if form.typed("password") != form.typed("password_again"):
            form.add_error("password_again", "The two new passwords differ. Enter both again.")
        form.stop_if_errors()
        set_password(session, own.id, form.typed("password"), kept_sign_in=user.sign_in_id if user else None)
        return RedirectResponse(PATH, 303)
    return render("pages/access/account.html", _page(session, form), status_code=422)


@router.post("/account/tokens")
def token_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Creates a token. It is shown in this response only, so there is no redirect."""
    _refuse_token()
    token = ""
    with form.attempt(session):
        token = add_api_token(session, _own_id(), form.text("token_name"), form.typed("role", "view"))
    page = _page(session, empty_form() if token else form, token)
    answer = render("pages/access/account.html", page, status_code=200 if token else 422)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.post("/account/tokens/{token_id}/revoke")
def token_revoked(token_id: Id, session: SessionDep) -> Response:
    _refuse_token()
    revoke_api_token(session, token_id, of_account=_own_id())
    return RedirectResponse(PATH, 303)


def _refuse_token() -> None:
    """Rejects API tokens here: one with a small role could otherwise create one with the account's full role, or revoke
    others.
    """
    user = current_user()
    if user is not None and user.token_id is not None:
        raise NotAllowed(
            "The request uses a token. Passwords and tokens can only be changed by a signed-in person. Sign in at "
            "/sign-in and use your account page."
        )


def _own_id() -> int:
    user = current_user()
    if user is None or user.account_id is None:
        raise InvalidValue("There are no accounts yet. Add the first one under Accounts.")
    return user.account_id


def _page(session: Session, form: TypedForm, new_token: str = "") -> AccountPage:
    user = current_user()
    for secret in ("present_password", "password", "password_again"):
        form.values.pop(secret, None)
    if user is None or user.account_id is None:
        return AccountPage(None, (), (), form)
    session.flush()
    return AccountPage(
        account=get_account(session, user.account_id),
        tokens=list_api_tokens(session, user.account_id),
        roles=[
            Choice(role, f"{role}: {WORDS[role]}", role == form.typed("role", "add"))
            for role in ROLES
            if may(user.role, role)
        ],
        form=form,
        new_token=new_token,
    )
