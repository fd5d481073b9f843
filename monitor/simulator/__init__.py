"""A virtual site over real MQTT; knows nothing of service, store or estimate."""
