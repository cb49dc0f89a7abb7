//! Vectors of two and matrices of two by two.

use std::ops::{Add, Mul};

/// A column of two.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Vector(pub(crate) [f64; 2]);

/// A matrix, by rows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Matrix(pub(crate) [[f64; 2]; 2]);

impl Vector {
    pub(crate) fn dot(self, other: Vector) -> f64 {
        self.0[0] * other.0[0] + self.0[1] * other.0[1]
    }

    /// v·vᵀ.
    pub(crate) fn square(self) -> Matrix {
        let [a, b] = self.0;
        Matrix([[a * a, a * b], [a * b, b * b]])
    }
}

impl Matrix {
    pub(crate) const ZERO: Matrix = Matrix([[0.0; 2]; 2]);
    pub(crate) const IDENTITY: Matrix = Matrix([[1.0, 0.0], [0.0, 1.0]]);

    pub(crate) fn determinant(self) -> f64 {
        let [[a, b], [c, d]] = self.0;
        a * d - b * c
    }

    pub(crate) fn trace(self) -> f64 {
        self.0[0][0] + self.0[1][1]
    }

    /// The inverse, which the caller knows to exist.
    pub(crate) fn inverse(self) -> Matrix {
        let [[a, b], [c, d]] = self.0;
        Matrix([[d, -b], [-c, a]]) * (1.0 / self.determinant())
    }

    /// M·S·Mᵀ.
    pub(crate) fn around(self, inner: Matrix) -> Matrix {
        let [[a, b], [c, d]] = self.0;
        self * inner * Matrix([[a, c], [b, d]])
    }

    /// The mean of it and its transpose, which takes rounding away.
    pub(crate) fn symmetric(self) -> Matrix {
        let [[a, b], [c, d]] = self.0;
        let both = 0.5 * (b + c);
        Matrix([[a, both], [both, d]])
    }

    /// The largest element by size.
    pub(crate) fn largest(self) -> f64 {
        self.0.as_flattened().iter().fold(0.0, |most, element| most.max(element.abs()))
    }
}

impl Add for Vector {
    type Output = Vector;

    fn add(self, other: Vector) -> Vector {
        Vector([self.0[0] + other.0[0], self.0[1] + other.0[1]])
    }
}

impl Mul<f64> for Vector {
    type Output = Vector;

    fn mul(self, factor: f64) -> Vector {
        Vector(self.0.map(|element| element * factor))
    }
}

impl Add for Matrix {
    type Output = Matrix;

    fn add(self, other: Matrix) -> Matrix {
        let ([[a, b], [c, d]], [[e, f], [g, h]]) = (self.0, other.0);
        Matrix([[a + e, b + f], [c + g, d + h]])
    }
}

impl Mul<f64> for Matrix {
    type Output = Matrix;

    fn mul(self, factor: f64) -> Matrix {
        Matrix(self.0.map(|row| row.map(|element| element * factor)))
    }
}

impl Mul<Vector> for Matrix {
    type Output = Vector;

    fn mul(self, column: Vector) -> Vector {
        Vector(self.0.map(|row| Vector(row).dot(column)))
    }
}

impl Mul for Matrix {
    type Output = Matrix;

    fn mul(self, other: Matrix) -> Matrix {
        let [[e, f], [g, h]] = other.0;
        Matrix(self.0.map(|[a, b]| [a * e + b * g, a * f + b * h]))
    }
}
