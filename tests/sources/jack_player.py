"""A JACK client that plays a sound file over and over: NAME FILE [CLIENT to play into]."""

import signal
import sys

import jack
import numpy as np
import soundfile

name, file, target = sys.argv[1:4]
frames, _ = soundfile.read(file, dtype="float32", always_2d=True)
client = jack.Client(name, no_start_server=True)
outputs = [client.outports.register(f"out_{number + 1}") for number in range(frames.shape[1])]
twice = np.concatenate([frames, frames])
position = [0]


@client.set_process_callback
def play(count):
    start = position[0]
    for column, output in enumerate(outputs):
        output.get_array()[:] = twice[start : start + count, column]
    position[0] = (start + count) % len(frames)


client.activate()
if target:
    inputs = [port for port in client.get_ports(is_audio=True, is_input=True) if port.name.startswith(target)]
    for output, taker in zip(outputs, inputs, strict=True):
        client.connect(output, taker)
signal.pause()
