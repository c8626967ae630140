"""What the benches put in the place of a show's latency takes every sample. No outside source."""

from bench.load import Samples
from bench.scenes import Spans
from bench.soak import Histogram
from engine.live.meters import Latency


def test_a_show_keeps_its_last_samples() -> None:
    """One sample of 2 ms is each percentile of a show's own latency."""
    latency = Latency()
    latency.add(2_000_000)
    assert set(latency.percentiles().values()) == {2.0}


def test_a_bench_gets_every_sample_of_the_show() -> None:
    """A show adds to what the bench has put in the place of its latency."""
    samples, spans, histogram = Samples(), Spans(), Histogram()
    for latency in (Latency(samples.add), Latency(spans.add), Latency(histogram.add)):
        latency.add(3_000)
        latency.add(5_000)
    assert list(samples.all) == list(spans.all) == [3_000, 5_000]
    assert len(spans.sent_at) == 2
    assert histogram.figures() == [3.0, 5.0, 5.0]
