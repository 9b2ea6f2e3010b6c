"""A small renderer of photographs of painted ring-gear teeth: gear, camera, lamp, compound, dirt, sensor.

It stands apart from the program's own plotting and knows nothing of the photo reader, so that reading its
pictures is a fair trial. It takes two things from the program: the shape of the flanks and the gap at which
each place of a flank is marked when the set is rolled.
"""

from photo_scene.camera import Camera, place_camera
from photo_scene.chance import random_request
from photo_scene.scene import DrawnPhoto, PhotoRequest, make_photo, rolled_with_runout

__all__ = [
    "Camera",
    "DrawnPhoto",
    "PhotoRequest",
    "make_photo",
    "place_camera",
    "random_request",
    "rolled_with_runout",
]
