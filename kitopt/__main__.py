"""``kitopt`` and ``python -m kitopt``: an interrupt while the program is still being loaded is remembered."""

# the module signal would first load enum, during which an interrupt still meets Python's own handler
import _signal  # type: ignore[import-not-found]

_given_up: list[int] = []

if _signal.getsignal(_signal.SIGINT) is _signal.default_int_handler:
    # before any other import; the command line puts Python's own handler back when it can answer
    _signal.signal(_signal.SIGINT, lambda number, _: _given_up.append(number))


def main() -> None:
    """Run the command line of the process."""
    import gc

    from kitopt.cli import main as run

    try:
        run(interrupted=lambda: bool(_given_up))
    finally:
        # all is let go of when the process ends: to look through it for cycles first took a twentieth of a short run
        gc.freeze()


if __name__ == "__main__":
    main()
