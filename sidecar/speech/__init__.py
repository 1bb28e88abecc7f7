"""Where there is speech in a mix: frames in, speech for each 100 ms block out."""
