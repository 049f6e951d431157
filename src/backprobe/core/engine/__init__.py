"""The engine as a witness: the air it takes, the fuel it gets, the temperatures it tells."""
