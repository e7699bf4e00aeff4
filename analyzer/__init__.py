"""The finisher's world: jobs, zones, evenness, verdicts, reports and records."""
