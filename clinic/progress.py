"""Show how far a long command is: a bar on a terminal, one line for each tenth in a log."""

from django.core.management.base import OutputWrapper

WIDTH = 40


def show(out: OutputWrapper, done: int, of: int) -> None:
    """Show that `done` pieces `of` so many are done, counting from 1."""
    filled = WIDTH * done // of
    bar = f"[{'#' * filled}{'.' * (WIDTH - filled)}] {done} of {of}"
    if out.isatty():
        out.write(f"\r{bar}", ending="" if done < of else "\n")
        out.flush()
    elif 10 * done // of > 10 * (done - 1) // of:
        out.write(bar)
