"""The outside world, one resource per file: port, journal, request socket, MQTT, clock."""
