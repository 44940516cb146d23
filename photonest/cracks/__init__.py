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

``patches`` (`photonest.cracks.patch_finder:Patches`) finds knots, holes (what insects, drills, screws and nails leave,
and heads of metal that are still in them), bark inclusions and decay: `patch_map` says at each place how like any of
them it is, by another small network trained on drawn faces alone, looked at closely and from afar; `patches` outlines
what it likens to one, at several levels; `patch_cues` says what speaks for each, `patch_judge` how likely it is one.

Its reach, on a hundred drawn faces that no training saw (``python -m tests.bench.defects``): more than eight in ten
holes from 0.4 % of the diameter, smaller ones hardly ever; two in three knots from 3 % of it, down to those of the
wood's own colour, and of smaller ones four in ten; nine in ten bark inclusions from 1.5 %; eight in ten areas of decay.
Of 234 said to be 0.9 likely or more 5 lay on nothing, of 92 less likely ones 17. Real defects are found less often than
drawn ones: of three large knots on a real disc two are told, as one possible area of decay, and a bark pocket at the
end of a thin knot isn't. Decay is never more than possible, since soft, stained, wet and dirty wood may look the same;
nor is anything in a photo without colours, where a pit in torn grain looks like a hole.
"""
