"""Error classes: one for each kind of error that callers handle differently.

A message says what was found, what was needed, and what to do, with numbers and units.
`status` is the HTTP status of the response; `field` names the form field
of the message, if any.
"""


class HazefallError(Exception):
    """Base class of errors caused by the input; the message is written for the user."""

    status = 400
    title = "The request failed"

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class InvalidValue(HazefallError):
    """An invalid value in a form, an API body or an argument."""

    status = 422
    title = "Invalid value"


class NotFound(HazefallError):
    """The requested item is not in the store."""

    status = 404
    title = "Not found"

    def __init__(self, what: str, key: object) -> None:
        super().__init__(f"There is no {what} {key} in this bench. Choose one from the list.")


class AlreadyStored(HazefallError):
    """The item already exists in the store; nothing was stored again."""

    status = 409
    title = "Already exists"


class UploadRepeated(HazefallError):
    """An upload with the key of another upload; nothing was stored."""

    status = 422
    title = "Already saved with other values"


class RunEnded(HazefallError):
    """A live run that was finished or closed, or a key that was used for other readings; nothing was stored."""

    status = 409
    title = "Not accepted by the live run"


class TooLarge(HazefallError):
    """An upload above the size limit."""

    status = 413
    title = "The file is too large"


class UnreadableLog(HazefallError):
    """A file that cannot be read as a log: file, line and text found, and what was needed."""

    status = 422
    title = "The log file cannot be read"

    def __init__(self, message: str, *, file_name: str = "", line: int | None = None, text: str | None = None) -> None:
        super().__init__(message, field="log")
        self.file_name = file_name
        self.line = line
        self.text = text


class NoDecayFound(HazefallError):
    """A log that was read but contains no decay that can be analysed."""

    status = 422
    title = "No decay was found"


class StoreProblem(HazefallError):
    """The store cannot be opened, is locked, full, read-only, damaged or from a newer version."""

    status = 503
    title = "The store is unavailable"


class OutcomeUnknown(HazefallError):
    """The connection to the database was lost at the commit; the change may be stored or not."""

    status = 503
    title = "It is not known whether the change was saved"


class NotSignedIn(HazefallError):
    """Nobody is signed in, or the session or token is no longer valid."""

    status = 401
    title = "Sign in first"


class NotAllowed(HazefallError):
    """The account or token lacks the role; an administrator can change it."""

    status = 403
    title = "Your role does not permit this"


class TooManyAttempts(HazefallError):
    """Too many failed sign-in attempts; the next one is accepted after a wait."""

    status = 429
    title = "Too many attempts"


class Busy(HazefallError):
    """The server prepares as many packages and animations as it may; the same request is answered later."""

    status = 503
    title = "The server is busy"
    retry_after_s = 30


class AccountNeeded(HazefallError):
    """The bench would be reachable from other machines without any account."""

    status = 403
    title = "Account required"
