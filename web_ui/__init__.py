"""The Flask application, the picture server and the page; talks to the device only through shared's protocol."""
