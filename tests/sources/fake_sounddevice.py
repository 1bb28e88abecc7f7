"""Stands in for the module sounddevice in the capture process, to fail on demand.

FAKE_AUDIO holds JSON: ``missing``, ``abort`` (while loading), ``rates`` it takes, ``inputs`` (names),
``channels``, ``quiet`` (no frames), ``hang`` (on start), ``frames`` (then the process dies),
``flag_every`` (blocks),
``drop`` (the frame at which half a second is dropped without a flag),
``stay_away`` (a file; when it exists, the device is gone after its death), ``journal`` (a file that gets the
times of each stream's start and of its last frames).
"""

import json
import os
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np

PLAN = json.loads(os.environ.get("FAKE_AUDIO", "{}"))
RATE_BLOCK = 480

if PLAN.get("missing"):
    raise OSError("PortAudio library not found")
if PLAN.get("abort"):
    os.abort()


class PortAudioError(Exception):
    pass


class CallbackAbort(Exception):
    pass


def query_hostapis():
    return [{"name": "Fake"}]


def query_devices():
    away = PLAN.get("stay_away") and Path(PLAN["stay_away"]).exists()
    names = [] if away else PLAN.get("inputs", ["Fake loopback"])
    return [
        {
            "name": name,
            "hostapi": 0,
            "max_input_channels": PLAN.get("channels", 2),
            "default_samplerate": 44_100.0,
        }
        for name in names
    ]


class InputStream:
    """Counts: each sample is the number of its frame."""

    def __init__(self, *, samplerate, channels, callback, finished_callback, **_):
        if samplerate not in PLAN.get("rates", [48_000]):
            raise PortAudioError("Error opening InputStream: Invalid sample rate", -9997)
        self.active = True
        self._callback, self._channels, self._rate = callback, channels, samplerate

    def start(self):
        if PLAN.get("hang"):
            time.sleep(3600)
        if not PLAN.get("quiet"):
            threading.Thread(target=self._play, daemon=True).start()

    def _play(self):
        start, given = time.monotonic(), 0
        note(start)
        while given < PLAN.get("frames", 10**9):
            frames = np.arange(given, given + RATE_BLOCK, dtype=np.float32)[:, None].repeat(self._channels, 1)
            every = PLAN.get("flag_every", 10**9)
            flagged = given // RATE_BLOCK % every == every - 1
            if given == PLAN.get("drop"):
                start += 0.5
            given += RATE_BLOCK
            time.sleep(max(0.0, start + given / self._rate - time.monotonic()))
            self._callback(frames, RATE_BLOCK, None, SimpleNamespace(input_overflow=flagged))
        note(time.monotonic())
        time.sleep(0.2)  # the main thread reports what there is
        if PLAN.get("stay_away"):
            Path(PLAN["stay_away"]).touch()
        os._exit(70)


def note(moment_s):
    if "journal" in PLAN:
        with Path(PLAN["journal"]).open("a") as journal:
            print(moment_s, file=journal)
