"""Caches compiled templates beside the compiled modules, so that a restarted server need not compile them.

It uses Python's own cache folder of this package: whoever can write there can change the program anyway. The data
folder would be unsafe, because a bench may come from somebody else.
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
    """Templates compiled by one version of Jinja and one state of the environment module.

    Without write access, with a full disk or a damaged file, a template is simply compiled again.
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
