"""What goes out over MQTT 5 and what a person may send back."""
