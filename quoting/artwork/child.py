"""
One file of artwork from standard input, what it measures to standard output: a process that is used once.

It works in an empty folder with an empty environment and without a network, under limits on memory, processor
time, files and their size, gives way to other work, and is ended with whatever it started.
"""

from __future__ import annotations

import contextlib
import os
import sys

from msgspec import msgpack

from quoting.artwork.measuring import Answer, Asked, Refusal
from quoting.errors import ArtworkError, ArtworkTooLargeError, ArtworkToolError, UnfitArtworkError
from quoting.piped_child import read_one, write_one

_MOST_FILES = 128
_GIVES_WAY = 10
# Linux: prctl(2), unshare(2).
_NO_NEW_PRIVILEGES, _NEW_NETWORK, _NEW_USERS = 38, 0x40000000, 0x10000000


def main() -> int:
    """Measure what comes; what cannot be measured is answered with the reason."""
    memory, seconds, space = (int(told) for told in sys.argv[1:4])
    limit_itself(memory, seconds, space)
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing that prints can break an answer
    asked = read_one(sys.stdin.buffer)
    if asked is not None:
        write_one(answers, msgpack.encode(answer_to(asked)))
    return 0


def limit_itself(memory_bytes: int, seconds: int, space_bytes: int) -> None:
    """Bind this process, and whatever it starts, where the system can."""
    with contextlib.suppress(ImportError, ValueError, OSError, AttributeError):  # less of it on other systems
        import resource

        for kind, most in (
            (resource.RLIMIT_AS, memory_bytes),
            (resource.RLIMIT_CPU, seconds + 1),
            (resource.RLIMIT_FSIZE, space_bytes),
            (resource.RLIMIT_NOFILE, _MOST_FILES),
            (resource.RLIMIT_CORE, 0),
        ):
            resource.setrlimit(kind, (most, most))
        os.nice(_GIVES_WAY)
        _leave_the_network()


def _leave_the_network() -> None:
    """A network of its own, with nothing in it, where the system lets a process have one; no new rights ever."""
    import ctypes

    system = ctypes.CDLL(None, use_errno=True)
    system.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0)
    if system.unshare(_NEW_NETWORK):  # only root may by itself; others within a name space of users
        system.unshare(_NEW_NETWORK | _NEW_USERS)


def answer_to(asked: bytes) -> Answer | Refusal:
    """What a file measures, or why it does not."""
    told = msgpack.decode(asked, type=Asked)
    try:
        from quoting.artwork.reading import measured

        return measured(told)
    except ArtworkTooLargeError as error:
        said, _, found = str(error).removeprefix("expected artwork of ").partition("; found ")
        return Refusal(type(error).__name__, said, error.limit, found)
    except ArtworkError as error:
        return Refusal(type(error).__name__, str(error))
    except MemoryError:
        limit = f"at most {told.limits.memory_bytes:,} bytes once unpacked"
        return Refusal(ArtworkTooLargeError.__name__, limit, "memory", "more")
    except ModuleNotFoundError as error:
        return Refusal(
            ArtworkToolError.__name__,
            f"artwork is measured with the extra artwork, which is not here ({error.name}): "
            "pip install 'quoting[artwork]'",
        )
    except Exception as error:  # whatever a library makes of a broken file, the file is refused
        said = f"expected a {told.kind.upper()} that can be read; found a fault in it: {type(error).__name__}"
        return Refusal(UnfitArtworkError.__name__, said)


if __name__ == "__main__":
    sys.exit(main())
