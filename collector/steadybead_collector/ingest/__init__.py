"""From messages to durable readings: routing, rules, conversion, quarantine, acknowledgement."""
