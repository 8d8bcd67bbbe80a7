"""Writing files: whole or absent, never half."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from truekev.errors import StoreError

__all__ = ["write_whole"]


def write_whole(path: str | Path, content: bytes | str) -> Path:
    """Write `content` (text as UTF-8) to `path` so that the file is whole or absent; returns the path.

    Raises
    ------
    StoreError
        The folder does not exist, or the disk refuses; an older file of that name is untouched.

    Notes
    -----
    Written beside its target, flushed to disk, then renamed over it (POSIX rename is atomic).
    """
    target = Path(path)
    data = content.encode() if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
    except OSError as error:
        raise StoreError(f"{target}: cannot be written ({error.strerror}); choose another folder.") from error
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        part.chmod(0o644)
        part.replace(target)
    except OSError as error:
        raise StoreError(f"{target}: cannot be written ({error.strerror}).") from error
    finally:
        part.unlink(missing_ok=True)
    return target
