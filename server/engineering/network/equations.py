"""The equations of a network, as matrices: Kirchhoff's current law at each node and the law of each voltage source.

The unknowns x are the voltages of the n nodes against the reference (V), in the network's order and followed by those
inside diodes with a series resistance, then the currents of the m voltage sources, from plus through the source to
minus (A). Currents that leave a node count as positive:

    arms        a of them, everything with a conductance g and an emf e: resistors, closed switches, logic outputs,
                series resistances, and 0.1 pS across every junction; i = g (T v - e), T of shape (a, n)
    sources     E v = V, their currents in the last m unknowns, E of shape (m, n)
    drives      k current sources of J amperes, D of shape (k, n) with 1 where one takes its current out of a node and
                -1 where it pushes it in
    junctions   p of them, at voltages C v, C of shape (p, n); what their currents i(C v) take out of the nodes is
                B i, B of shape (rows, n, p)

      n columns       m columns
    [ T' g T          E'      ] [ v ]     [ T' g e - D' J - B i(C v) ]      n rows: the current law
    [ E               0       ] [ i ]  =  [ V                        ]      m rows: the sources

A transistor is Ebers and Moll's in its transport form, without the Early effect; with forward and reverse gains F, R
and junction currents i1 (base-emitter), i2 (base-collector), all turned round in a PNP:

    collector  i1 - i2 - i2/R        base  i1/F + i2/R        emitter  -(i1 + i1/F) + i2

Everything that a tolerance moves has a first axis of `rows`: the nominal, then the draws.

Sources: C.-W. Ho, A. Ruehli, P. Brennan, IEEE Trans. Circuits Syst. 22 (1975) 504 (the matrix); J. J. Ebers,
J. L. Moll, Proc. IRE 42 (1954) 1761, both from memory.
"""

from dataclasses import dataclass, replace

import numpy as np

from server.engineering.network.junctions import Array, Junctions

LEAK = 1e-13


@dataclass(frozen=True)
class Places:
    """Where an element stands: its row among nodes, arms, held sources, drives, or its first junction."""

    nodes: dict[str, int]
    arms: dict[str, int]
    held: dict[str, int]
    drives: dict[str, int]
    junctions: dict[str, int]


@dataclass(frozen=True)
class Equations:
    """The matrices above: T `ties`, E `held`, D `driven`, C `taps`, B `takes`."""

    places: Places
    ties: Array
    conductance: Array
    emf: Array
    held: Array
    volts: Array
    driven: Array
    amperes: Array
    taps: Array
    takes: Array
    junctions: Junctions

    @property
    def rows(self) -> int:
        return len(self.conductance)

    @property
    def node_count(self) -> int:
        return len(self.ties.T)

    def matrix(self) -> Array:
        """The matrix, of shape (rows, n + m, n + m)."""
        n, m = self.node_count, self.held.shape[0]
        whole = np.zeros((self.rows, n + m, n + m))
        whole[:, :n, :n] = (self.ties.T * self.conductance[:, None, :]) @ self.ties
        whole[:, :n, n:] = self.held.T
        whole[:, n:, :n] = self.held
        return whole

    def right_side(self) -> Array:
        """The right side without the junctions, of shape (rows, n + m)."""
        pushed = (self.conductance * self.emf) @ self.ties - self.amperes @ self.driven
        return np.concatenate([pushed, self.volts], axis=1)

    def with_source(self, name: str, value: Array) -> "Equations":
        """The same with a source's value (V or A), of shape (rows,), put in place of its own."""
        places = self.places
        if name in places.held:
            return replace(self, volts=_with(self.volts, places.held[name], value))
        if name in places.drives:
            return replace(self, amperes=_with(self.amperes, places.drives[name], value))
        return replace(self, emf=_with(self.emf, places.arms[name], value))


def _with(held: Array, column: int, values: Array) -> Array:
    changed = held.copy()
    changed[:, column] = values
    return changed
