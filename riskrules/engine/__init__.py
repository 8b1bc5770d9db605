"""The engine: packs compiled for durable-rules, facts asserted, matches collected."""
