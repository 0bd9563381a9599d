"""The readings store on a server that speaks InfluxDB's `/api/v2/write` and InfluxQL `/query`."""
