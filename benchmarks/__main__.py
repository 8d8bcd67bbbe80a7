"""All benchmarks, one after the other: `python -m benchmarks`."""

from __future__ import annotations

from benchmarks import bench_figures, forecast_speed, scale_speed, transport_speed, web_pages

if __name__ == "__main__":
    bench_figures.main()
    transport_speed.main()
    forecast_speed.main()
    scale_speed.main()
    web_pages.main()
