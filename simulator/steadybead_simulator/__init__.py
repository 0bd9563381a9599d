"""A simulated shop that speaks only MQTT, for demos, tests and the detection score."""
