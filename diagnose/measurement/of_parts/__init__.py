"""What can be complained of and asked of every part of a car, made from its circuit.

`sound_work` knows where each load works on the sound car, `part_symptoms` makes what
can be seen of it, `part_complaints` what an owner may come with. Leaves what the whole
car does to knowledge/.
"""
