"""WAV, RF64 and BW64 as chunks: walked, changed in place under a journal, written anew, made readable."""
