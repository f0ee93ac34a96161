"""Administration of accounts: adding, roles, passwords, disabling, tokens."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.services.access.accounts import (
    SUBJECT,
    Account,
    accounts_exist,
    add_account,
    change_role,
    disable_account,
    enable_account,
    get_account,
    list_accounts,
    set_password,
)
from app.services.access.api_tokens import ApiToken, list_api_tokens, revoke_api_token
from app.services.access.roles import ADMINISTER, ROLES, WORDS
from app.services.history.change_history import DescribedChange, change_history
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
PATH = "/accounts"


@dataclass(frozen=True, slots=True)
class AccountList:
    accounts: Sequence[Account]
    roles: Sequence[Choice]
    form: TypedForm


@dataclass(frozen=True, slots=True)
class OneAccount:
    """`changes` are those of this account, newest first."""

    account: Account
    tokens: Sequence[ApiToken]
    roles: Sequence[Choice]
    changes: Sequence[DescribedChange]
    form: TypedForm


@router.get(PATH)
def accounts(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/access/accounts.html", _list(session, empty_form()))


@router.post(PATH)
def account_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    is_first = not accounts_exist(session)
    with form.attempt(session):
        add_account(session, form.text("name"), form.typed("role"), form.typed("password"))
        return RedirectResponse("/sign-in" if is_first else PATH, 303)
    return render("pages/access/accounts.html", _list(session, form), status_code=422)


@router.get("/accounts/{account_id}")
def one_account(account_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/access/one_account.html", _one(session, account_id, empty_form()))


@router.post("/accounts/{account_id}/role")
def role_changed(account_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        change_role(session, account_id, form.typed("role"))
        return _back_to(account_id)
    return render("pages/access/one_account.html", _one(session, account_id, form), status_code=422)


@router.post("/accounts/{account_id}/password")
def password_given(account_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        set_password(session, account_id, form.typed("password"))
        return _back_to(account_id)
    return render("pages/access/one_account.html", _one(session, account_id, form), status_code=422)


@router.post("/accounts/{account_id}/disable")
def disabled(account_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        disable_account(session, account_id)
        return _back_to(account_id)
    return render("pages/access/one_account.html", _one(session, account_id, form), status_code=422)


@router.post("/accounts/{account_id}/enable")
def enabled(account_id: Id, session: SessionDep) -> Response:
    enable_account(session, account_id)
    return _back_to(account_id)


@router.post("/accounts/{account_id}/tokens/{token_id}/revoke")
def token_revoked(account_id: Id, token_id: Id, session: SessionDep) -> Response:
    revoke_api_token(session, token_id, of_account=account_id)
    return _back_to(account_id)


def _back_to(account_id: int) -> Response:
    return RedirectResponse(f"{PATH}/{account_id}", 303)


def _list(session: Session, form: TypedForm) -> AccountList:
    form.values.pop("password", None)
    found = list_accounts(session)
    return AccountList(found, _roles(form.typed("role", "add" if found else ADMINISTER)), form)


def _one(session: Session, account_id: int, form: TypedForm) -> OneAccount:
    form.values.pop("password", None)
    found = get_account(session, account_id)
    return OneAccount(
        account=found,
        tokens=list_api_tokens(session, account_id),
        roles=_roles(form.typed("role", found.role)),
        changes=change_history(session, SUBJECT, account_id),
        form=form,
    )


def _roles(chosen: str) -> Sequence[Choice]:
    return [Choice(role, f"{role}: {WORDS[role]}", role == chosen) for role in ROLES]
