"""From durable readings to what is said of them: diagnosis, alarms, the live topics."""
