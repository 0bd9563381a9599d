"""The MQTT side: broker, subscriber, decoding of payloads."""
