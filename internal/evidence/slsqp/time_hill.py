"""Time one start (even power) of the general solver on the 10 km hill.

Prints seconds of computing and seconds of riding. Used by `make bench`.
"""
import time

from generate import COURSES, PIECES, Course, best_even, np, repair, solve

course = Course(COURSES["hill"])
even, _ = best_even(course)
began = time.time()
_, ridden, _, _ = solve(course, repair(course, np.full(PIECES, even)))
print(time.time() - began, ridden)
