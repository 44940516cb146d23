"""Crack finders, and finders of the other defects that a bowl's wall must not contain.

``lines`` (`photonest.cracks.finder:Lines`) finds checks, heart checks and ring shakes: lines darker or lighter than
the wood on both sides. The way from photo to crack is one module a step:

* `network` says at each place how like a crack it is: a small convolutional network trained on drawn faces alone;
* `strips` lays its answer out so that the cracks sought run down the columns: in polar coordinates about the pith,
  bearings down the columns for ring shakes, or turned four ways where no pith is known; `paths` finds the best paths
  over it, with both ends free;
* `search` makes candidates of them, `profiles` measures each by cuts across it at full resolution;
* `evidence` says what speaks for and against each being a crack, `judge` how likely it is one;
* `traces` tells each once and joins fragments, `tips` follows them on at full size, and a margin goes on top.

Its reach: a check whose opening darkens about a pixel of the photo. Finer ones, and the parts of a check that have not
opened at the face, are not seen: tips are extended by a stated margin, within which six in seven free tips of drawn
cracks lie (93 in 100 of those that the line found runs up to), and a plan keeps its clearance besides. On drawn photos
between eight tenths and nearly all of the cracks' length are found, the less the more of it are hairlines, with lines
of a fifth of the diameter a face that are none, most of them called possible.

``patches`` (`photonest.cracks.patch_finder:Patches`) finds knots, holes and bark inclusions: `patches` outlines what is
darker than the wood about it, or of another colour, at several levels; `patch_cues` says what each looks like,
`patch_judge` how likely it is one of the kinds.

Its reach, on a hundred drawn faces that no training saw (``python -m tests.bench.defects``): nearly nine in ten holes
from 0.8 % of the diameter, four in five knots and nine in ten bark inclusions from 3 % of it; of smaller holes one in
five. Of 171 said to be seen 6 lay on nothing, of 58 possible ones 8. Real knots are found less often than drawn ones:
those of about the brightness of the wood about them, as most are, don't stand out enough to be looked at, and of three
large ones on a real disc one is. In a photo without colours a pit in torn grain looks like a hole, so that nothing
there is more than possible. Decay is not told: soft, stained, wet and dirty areas look the same in a photo, and what
was tried found one in ten at as many false ones. It is marked by hand.
"""
