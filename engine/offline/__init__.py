"""The core without a show: rehearsals, replays of recordings and forecasts, with their reports."""
