"""Readings over MQTT for the watch command, by the optional library paho-mqtt.

Begin with `topic_follower.py`; `payload.py` says what a message may hold, `subscription.py` talks to the broker.
"""
