"""The light on the card and the camera that saw it: from encoded pixels to CIELAB.

``tone`` undoes the camera's curve, ``field`` the unevenness of the light, ``matrix`` the camera's primaries and
the colour of the light; ``correction`` fits the three together to the card's known colours and applies them.
``trust`` decides whether the result may be used.
"""
