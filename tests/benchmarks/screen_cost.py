"""What drawing the course costs after a day against after a minute, and what a whole drawing costs.

Run: python tests/benchmarks/screen_cost.py
"""

import sys
import time
from functools import partial
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))

from scripted_feed import PlayingFeed

from tui.desk import ZOOMS_S, Desk
from tui.drawing.course import CourseDrawing
from tui.drawing.hero import hero
from tui.drawing.rails import rails

LOOKS = 100
PER_SECOND = 10


def cost_s(draw, views):
    spent = []
    for view in views:
        start = time.perf_counter()
        draw(view)
        spent.append(time.perf_counter() - start)
    return median(spent)


def views_at(seconds, zoom):
    desk = Desk(PlayingFeed(seconds, seconds + 15.0))
    desk.zoom(zoom - len(ZOOMS_S) + 1)
    return [desk.look() for _ in range(LOOKS)]


def main():
    for zoom, name in ((0, "30 s"), (len(ZOOMS_S) - 1, "whole")):
        minute, day = (views_at(seconds, zoom) for seconds in (60.0, 86_400.0))
        course = [
            cost_s(partial(CourseDrawing().rows, width=120, height=15), views) for views in (minute, day)
        ]
        print(f"course, {name}: after 24 h {course[1] / course[0]:.2f} times the cost after 1 min")
    rest = cost_s(lambda view: (hero(view, 120, 8), rails(view, 120, 12, thickness=2, peak_rows=2)), day)
    share = (course[1] + rest) * PER_SECOND
    print(f"drawing at 120 × 40, {PER_SECOND} times a second: {share:.1%} of one core")


if __name__ == "__main__":
    main()
