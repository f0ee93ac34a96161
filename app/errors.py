"""The error family: one child for each mistake that a caller handles in its own way.

A message says what was found, what was needed, and what to do, with numbers and units.
`status` is the HTTP status with which the web floor answers; `field` names the form field
that the message belongs to, where there is one.
"""


class HazefallError(Exception):
    """A mistake in what was asked or given; the message is written for the person at the bench."""

    status = 400
    title = "The request could not be carried out"

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class InvalidValue(HazefallError):
    """A value outside what the bench can hold, found in a form, an API body or an argument."""

    status = 422
    title = "A value cannot be used"


class NotFound(HazefallError):
    """What was asked for is not in the store."""

    status = 404
    title = "Not found"

    def __init__(self, what: str, key: object) -> None:
        super().__init__(f"There is no {what} {key} in this bench. Choose one from the list.")


class AlreadyStored(HazefallError):
    """The same thing is in the store already; nothing was stored a second time."""

    status = 409
    title = "Stored already"


class TooLarge(HazefallError):
    """An upload above the size limit."""

    status = 413
    title = "The file is too large"


class UnreadableLog(HazefallError):
    """A file that cannot be read as a log: file, line and text found, and what was needed."""

    status = 422
    title = "The file cannot be read as a log"

    def __init__(self, message: str, *, file_name: str = "", line: int | None = None, text: str | None = None) -> None:
        super().__init__(message, field="log")
        self.file_name = file_name
        self.line = line
        self.text = text


class NoDecayFound(HazefallError):
    """A log that was read but holds no decay that can be analysed."""

    status = 422
    title = "No decay was found"


class StoreProblem(HazefallError):
    """The store cannot be opened, is locked, full, read-only, damaged or from a newer version."""

    status = 503
    title = "The store cannot be used"


class NotSignedIn(HazefallError):
    """Nobody is signed in, or the sign-in or token no longer holds."""

    status = 401
    title = "Sign in first"


class NotAllowed(HazefallError):
    """The account or token may not do this; an administrator can give it another role."""

    status = 403
    title = "Your role does not allow this"


class TooManyAttempts(HazefallError):
    """Too many failed tries at a sign-in; the next one is taken after a wait."""

    status = 429
    title = "Too many tries"


class AccountNeeded(HazefallError):
    """The bench would be reached from other machines, and no account protects it."""

    status = 403
    title = "An account is needed first"
