"""Progress is for eyes at a terminal, after a second, and leaves no trace."""

import io

from mockup.commands.progress import Progress, span, waiting


class Screen(io.StringIO):
    def __init__(self, terminal):
        super().__init__()
        self.terminal = terminal

    def isatty(self):
        return self.terminal


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def shown(terminal, steps):
    screen, clock = Screen(terminal), Clock()
    line = Progress("Drawing", screen, clock)
    for clock.now, share in steps:
        line(share)
    return screen, line


def test_says_the_share_and_the_time_left():
    screen, _ = shown(True, [(2.0, 0.25)])
    assert screen.getvalue() == "\rDrawing   25 %  6 s left"  # a quarter took 2 s


def test_quiet_for_a_second_and_quiet_into_a_file():
    assert shown(True, [(0.5, 0.9), (0.9, 0.95)])[0].getvalue() == ""
    assert shown(False, [(5.0, 0.5), (9.0, 0.9)])[0].getvalue() == ""


def test_the_line_is_wiped():
    screen, line = shown(True, [(2.0, 0.25), (3.0, 0.5)])
    line.clear()
    last = screen.getvalue().split("\r")
    assert last[-2].strip() == "" and len(last[-2]) >= len("Drawing   50 %  3 s left")


def test_not_more_than_ten_lines_a_second():
    screen, _ = shown(True, [(2 + i / 1000, 0.5) for i in range(1000)])
    assert screen.getvalue().count("\r") <= 10


def test_a_step_is_a_span_of_the_whole():
    heard = []
    step = span(heard.append, 0.5, 0.75)
    step(0), step(1)
    assert heard == [0.5, 0.75]


def test_work_that_cannot_tell_shows_the_seconds_and_leaves_no_trace():
    screen, clock = Screen(True), Clock()
    line = Progress("Learning", screen, clock)
    clock.now = 3.2
    line.beat()
    assert screen.getvalue() == "\rLearning  3 s"
    for terminal in (True, False):
        quick = Screen(terminal)
        with waiting("Learning", quick):
            pass
        assert quick.getvalue() == "", "done within a second"
