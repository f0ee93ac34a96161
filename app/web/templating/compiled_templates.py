"""Keeps compiled templates beside the compiled modules, so that a server that starts again need not compile them.

The folder is the one in which Python keeps the compiled modules of this package: whoever can write there could change
the program as well. The data folder would not do, since a bench may come from somebody else.
"""

import pickle
import sys
from contextlib import suppress
from hashlib import sha256
from importlib.util import cache_from_source
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket


class CompiledTemplates(jinja2.FileSystemBytecodeCache):
    """Templates compiled by one version of Jinja and one state of the module that sets up the environment.

    A folder that cannot be written, a full disk or a damaged file only means that a template is compiled again.
    """

    def __init__(self, environment_module: Path, folder: Path | None = None) -> None:
        state = sha256(jinja2.__version__.encode() + environment_module.read_bytes()).hexdigest()[:12]
        super().__init__(
            str(folder or Path(cache_from_source(__file__)).parent),
            f"template-{state}-%s.{sys.implementation.cache_tag}",
        )

    def load_bytecode(self, bucket: Bucket) -> None:
        try:
            super().load_bytecode(bucket)
        except (OSError, EOFError, ValueError, TypeError, AttributeError, pickle.UnpicklingError):
            bucket.reset()

    def dump_bytecode(self, bucket: Bucket) -> None:
        if sys.dont_write_bytecode:
            return
        with suppress(OSError):
            super().dump_bytecode(bucket)
