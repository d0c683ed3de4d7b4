"""The static proof: on which paths of a plan can a timed lap start with a switch where the run does not want it?

``course`` lays the plan out as laps and stays in the garage; ``wheel`` is what one hand on the wheel may do; ``walk``
has every step from one lap to the next; ``search`` collects, switch by switch, all positions that each lap can start
with, and the shortest story of each wrong one; ``stakes`` names the single calls on which timed laps hang; ``story``
puts it in words.
"""
