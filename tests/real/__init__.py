"""Tests with real servers: JACK, the ALSA sequencer, a synthesizer, a browser."""
