"""The shortest distinct names of files, shown in lists of several files in place of whole paths."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from pathlib import PurePath


def distinct_names(paths: Sequence[str | os.PathLike[str]]) -> list[str]:
    """For each path the shortest end of it that no other path of *paths* ends in, in their order.

    A path given twice has its whole text twice. Separators are those of the system; the parts compared are
    whole names of folders and files, never pieces of one.

    >>> distinct_names(["a/day/mix.wav", "b/day/mix.wav", "b/voice.wav"])
    ['a/day/mix.wav', 'b/day/mix.wav', 'voice.wav']
    """
    parts = [PurePath(path).parts for path in paths]
    names = [""] * len(parts)
    left, length = list(range(len(parts))), 0
    while left:
        length += 1
        ends = Counter(parts[place][-length:] for place in left)
        alike = []
        for place in left:
            end = parts[place][-length:]
            names[place] = str(PurePath(*end))
            if ends[end] > 1 and length < len(parts[place]):
                alike.append(place)
        left = alike
    return names
