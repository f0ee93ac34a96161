"""The link that lets one browser into a bench without accounts."""

from fastapi import Request
from starlette.responses import RedirectResponse, Response

from app.services.access.local_secret import read_secret, use_link_token
from app.web.current_user import current_user
from app.web.delivery import ASKED_BY_HEAD
from app.web.dependencies import SettingsDep
from app.web.routers import page_router
from app.web.security.local_access import ENTRY, locked_page, set_local_cookie

router = page_router()


@router.get(f"{ENTRY}/{{token}}")
def entered(token: str, request: Request, settings: SettingsDep) -> Response:
    """Uses up the link and gives the browser its cookie. A browser that is in already keeps the link for another, and
    HEAD, by which messengers and link checkers look at a link, leaves it as it is.
    """
    answer = RedirectResponse("/", 303)
    answer.headers["Cache-Control"] = "no-store"
    if current_user() is not None or request.scope.get(ASKED_BY_HEAD):
        return answer
    secret = read_secret(settings.data_folder)
    if not secret or not use_link_token(settings.data_folder, token):
        return locked_page("", used_link=True)
    set_local_cookie(answer, secret)
    return answer
