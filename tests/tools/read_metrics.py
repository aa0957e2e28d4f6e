"""What the reference OpenMetrics parser makes of a file: samples by name and labels, as JSON."""

import json
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families

samples = {}
for family in text_string_to_metric_families(open(sys.argv[1]).read()):
    for sample in family.samples:
        labels = ",".join(f"{k}={v}" for k, v in sorted(sample.labels.items()))
        key = sample.name + (f"{{{labels}}}" if labels else "")
        assert key not in samples, key
        samples[key] = sample.value
print(json.dumps(samples))
