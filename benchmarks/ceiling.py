#!/usr/bin/python3
"""How much of the cause is in the readings? A classifier that knows nothing of engines learns it.

READINGS=1 bench_causes 12000 77 six-manual | benchmarks/ceiling.py

Four fifths of the virtual cars are learned from, one fifth is asked. What it reaches is reached by
somebody, so the ceiling lies no lower: it has seen thousands of this very unit, faults drawn evenly,
and knows how often each comes. Debian: python3-sklearn (random forest; perceptron of two layers).
"""
import sys
from collections import Counter

import numpy as np
from sklearn.ensemble import RandomForestClassifier
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

rows, names = [], []
for line in sys.stdin:
    if not line.startswith("READ "):
        continue
    name, numbers = line[5:].split(";")
    names.append(name)
    rows.append([float(x) for x in numbers.split()])
if len(rows) < 500:
    sys.exit("ceiling.py: %d cars read, 500 at least: READINGS=1 bench_causes CARS SEED CARD" % len(rows))
x, y = np.nan_to_num(np.array(rows)), np.array(names)
learn = len(y) * 4 // 5
scale = StandardScaler().fit(x[:learn])
z = np.clip(scale.transform(x), -8, 8)
forest = RandomForestClassifier(300, min_samples_leaf=2, random_state=1).fit(z[:learn], y[:learn])
layers = MLPClassifier((128, 64), alpha=1e-3, early_stopping=True, max_iter=120, random_state=1)
layers.fit(z[:learn], y[:learn])
p = 0.5 * (forest.predict_proba(z[learn:]) + layers.predict_proba(z[learn:]))
asked, order = y[learn:], np.argsort(-p, axis=1)
first = forest.classes_[order[:, 0]]
three = [asked[i] in forest.classes_[order[i, :3]] for i in range(len(asked))]
print("%-42s%6s%8s" % ("cause", "cars", "first"))
for name in forest.classes_:
    own = asked == name
    if not own.any():
        continue
    wrong = Counter(first[own & (first != asked)]).most_common(3)
    print("%-42s%6d%7.0f%%  %s" % (name, own.sum(), 100 * np.mean(first[own] == name),
                                  ", ".join("%s %d" % w for w in wrong)))
faulty = asked != "nothing wrong"
print("\nlearned from %d cars, asked %d: right cause first %.1f %%, among three %.1f %%" %
      (learn, len(asked), 100 * np.mean((first == asked)[faulty]), 100 * np.mean(np.array(three)[faulty])))
