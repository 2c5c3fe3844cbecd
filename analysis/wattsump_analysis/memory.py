"""What too little memory looks like, and the line that reports it.

Loaded before anything else, so nothing is imported here.
"""

__all__ = ("TOO_LITTLE", "is_short_of")

TOO_LITTLE = "too little memory: close other programs, or give a shorter session"
# What the loaders of glibc and musl put into the error of a library they could not map.
_UNMAPPED = ("failed to map segment", "annot allocate memory", "cannot create shared object")


def is_short_of(error: BaseException | None) -> bool:
    """Whether an error, or one it came from, is for want of memory."""
    while error is not None:
        if isinstance(error, MemoryError) or any(words in str(error) for words in _UNMAPPED):
            return True
        if isinstance(error, SystemError) and _is_of_import(error):
            return True
        error = error.__cause__ or error.__context__
    return False


def _is_of_import(error: SystemError) -> bool:
    """Whether a module was being loaded: without memory one of C may fail without a reason."""
    place = error.__traceback__
    while place is not None:
        if place.tb_frame.f_code.co_name == "<module>":
            return True
        place = place.tb_next
    return str(error).startswith("initialization of")
