//! Coefficients of the ITS-90 reference functions, types K, T, J, E, N, R and S.
//!
//! Source: NIST Standard Reference Database 60 (NIST Monograph 175, 1993),
//! reference coefficients and approximate inverse coefficients. Forward
//! polynomials take °C and give mV; the inverse ones take mV and give °C to
//! between ±0.001 and ±0.06 °C, good enough to start an iteration from.

/// A polynomial, coefficients in rising order, valid from `from` to `to`, both included.
pub(super) struct Polynomial {
    /// Lower end of its range.
    pub(super) from: f64,
    /// Upper end of its range.
    pub(super) to: f64,
    /// Coefficients, constant first.
    pub(super) coefficients: &'static [f64],
}

/// The term `a0 · exp(a1 · (t − a2)²)` in mV that type K adds above 0 °C.
pub(super) struct Exponential {
    /// Height, mV.
    pub(super) a0: f64,
    /// Width, 1/K².
    pub(super) a1: f64,
    /// Centre, °C.
    pub(super) a2: f64,
}

/// Reference function of one type.
pub(super) struct Curve {
    /// mV from °C, in rising order without gaps.
    pub(super) forward: &'static [Polynomial],
    /// Added to the forward polynomials above 0 °C.
    pub(super) exponential: Option<Exponential>,
    /// °C from mV, approximate, in rising order; covers less than `forward` does.
    pub(super) inverse: &'static [Polynomial],
}

/// Type K, −270 to 1372 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const K: Curve = Curve {
    forward: &[
        Polynomial { from: -270.0, to: 0.0, coefficients: &[
            0.0, 3.9450128025e-2, 2.3622373598e-5, -3.2858906784e-7,
            -4.9904828777e-9, -6.7509059173e-11, -5.7410327428e-13, -3.1088872894e-15,
            -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23,
        ] },
        Polynomial { from: 0.0, to: 1372.0, coefficients: &[
            -1.7600413686e-2, 3.8921204975e-2, 1.8558770032e-5, -9.9457592874e-8,
            3.1840945719e-10, -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19,
            9.7151147152e-23, -1.2104721275e-26,
        ] },
    ],
    exponential: Some(Exponential { a0: 1.185976e-1, a1: -1.183432e-4, a2: 1.269686e2 }),
    inverse: &[
        Polynomial { from: -5.891, to: 0.0, coefficients: &[
            0.0, 2.5173462e1, -1.1662878, -1.0833638,
            -8.977354e-1, -3.7342377e-1, -8.6632643e-2, -1.0450598e-2,
            -5.1920577e-4,
        ] },
        Polynomial { from: 0.0, to: 20.644, coefficients: &[
            0.0, 2.508355e1, 7.860106e-2, -2.503131e-1,
            8.31527e-2, -1.228034e-2, 9.804036e-4, -4.41303e-5,
            1.057734e-6, -1.052755e-8,
        ] },
        Polynomial { from: 20.644, to: 54.886, coefficients: &[
            -1.318058e2, 4.830222e1, -1.646031, 5.464731e-2,
            -9.650715e-4, 8.802193e-6, -3.11081e-8,
        ] },
    ],
};

/// Type T, −270 to 400 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const T: Curve = Curve {
    forward: &[
        Polynomial { from: -270.0, to: 0.0, coefficients: &[
            0.0, 3.8748106364e-2, 4.4194434347e-5, 1.1844323105e-7,
            2.0032973554e-8, 9.0138019559e-10, 2.2651156593e-11, 3.6071154205e-13,
            3.8493939883e-15, 2.8213521925e-17, 1.4251594779e-19, 4.8768662286e-22,
            1.079553927e-24, 1.3945027062e-27, 7.9795153927e-31,
        ] },
        Polynomial { from: 0.0, to: 400.0, coefficients: &[
            0.0, 3.8748106364e-2, 3.329222788e-5, 2.0618243404e-7,
            -2.1882256846e-9, 1.0996880928e-11, -3.0815758772e-14, 4.547913529e-17,
            -2.7512901673e-20,
        ] },
    ],
    exponential: None,
    inverse: &[
        Polynomial { from: -5.603, to: 0.0, coefficients: &[
            0.0, 2.5949192e1, -2.1316967e-1, 7.9018692e-1,
            4.2527777e-1, 1.3304473e-1, 2.0241446e-2, 1.2668171e-3,
        ] },
        Polynomial { from: 0.0, to: 20.872, coefficients: &[
            0.0, 2.5928e1, -7.602961e-1, 4.637791e-2,
            -2.165394e-3, 6.048144e-5, -7.293422e-7,
        ] },
    ],
};

/// Type J, −210 to 1200 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const J: Curve = Curve {
    forward: &[
        Polynomial { from: -210.0, to: 760.0, coefficients: &[
            0.0, 5.0381187815e-2, 3.047583693e-5, -8.568106572e-8,
            1.3228195295e-10, -1.7052958337e-13, 2.0948090697e-16, -1.2538395336e-19,
            1.5631725697e-23,
        ] },
        Polynomial { from: 760.0, to: 1200.0, coefficients: &[
            2.9645625681e2, -1.4976127786, 3.1787103924e-3, -3.1847686701e-6,
            1.5720819004e-9, -3.0691369056e-13,
        ] },
    ],
    exponential: None,
    inverse: &[
        Polynomial { from: -8.095, to: 0.0, coefficients: &[
            0.0, 1.9528268e1, -1.2286185, -1.0752178,
            -5.9086933e-1, -1.7256713e-1, -2.8131513e-2, -2.396337e-3,
            -8.3823321e-5,
        ] },
        Polynomial { from: 0.0, to: 42.919, coefficients: &[
            0.0, 1.978425e1, -2.001204e-1, 1.036969e-2,
            -2.549687e-4, 3.585153e-6, -5.344285e-8, 5.09989e-10,
        ] },
        Polynomial { from: 42.919, to: 69.553, coefficients: &[
            -3.11358187e3, 3.00543684e2, -9.9477323, 1.7027663e-1,
            -1.43033468e-3, 4.73886084e-6,
        ] },
    ],
};

/// Type E, −270 to 1000 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const E: Curve = Curve {
    forward: &[
        Polynomial { from: -270.0, to: 0.0, coefficients: &[
            0.0, 5.8665508708e-2, 4.5410977124e-5, -7.7998048686e-7,
            -2.5800160843e-8, -5.9452583057e-10, -9.3214058667e-12, -1.0287605534e-13,
            -8.0370123621e-16, -4.3979497391e-18, -1.6414776355e-20, -3.9673619516e-23,
            -5.5827328721e-26, -3.4657842013e-29,
        ] },
        Polynomial { from: 0.0, to: 1000.0, coefficients: &[
            0.0, 5.866550871e-2, 4.5032275582e-5, 2.8908407212e-8,
            -3.3056896652e-10, 6.502440327e-13, -1.9197495504e-16, -1.2536600497e-18,
            2.1489217569e-21, -1.4388041782e-24, 3.5960899481e-28,
        ] },
    ],
    exponential: None,
    inverse: &[
        Polynomial { from: -8.825, to: 0.0, coefficients: &[
            0.0, 1.6977288e1, -4.351497e-1, -1.5859697e-1,
            -9.2502871e-2, -2.6084314e-2, -4.1360199e-3, -3.403403e-4,
            -1.156489e-5,
        ] },
        Polynomial { from: 0.0, to: 76.373, coefficients: &[
            0.0, 1.7057035e1, -2.3301759e-1, 6.5435585e-3,
            -7.3562749e-5, -1.7896001e-6, 8.4036165e-8, -1.3735879e-9,
            1.0629823e-11, -3.2447087e-14,
        ] },
    ],
};

/// Type N, −270 to 1300 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const N: Curve = Curve {
    forward: &[
        Polynomial { from: -270.0, to: 0.0, coefficients: &[
            0.0, 2.6159105962e-2, 1.0957484228e-5, -9.3841111554e-8,
            -4.6412039759e-11, -2.6303357716e-12, -2.2653438003e-14, -7.6089300791e-17,
            -9.3419667835e-20,
        ] },
        Polynomial { from: 0.0, to: 1300.0, coefficients: &[
            0.0, 2.5929394601e-2, 1.571014188e-5, 4.3825627237e-8,
            -2.5261169794e-10, 6.4311819339e-13, -1.0063471519e-15, 9.9745338992e-19,
            -6.0863245607e-22, 2.0849229339e-25, -3.0682196151e-29,
        ] },
    ],
    exponential: None,
    inverse: &[
        Polynomial { from: -3.99, to: 0.0, coefficients: &[
            0.0, 3.8436847e1, 1.1010485, 5.2229312,
            7.2060525, 5.8488586, 2.7754916, 7.7075166e-1,
            1.1582665e-1, 7.3138868e-3,
        ] },
        Polynomial { from: 0.0, to: 20.613, coefficients: &[
            0.0, 3.86896e1, -1.08267, 4.70205e-2,
            -2.12169e-6, -1.17272e-4, 5.3928e-6, -7.98156e-8,
        ] },
        Polynomial { from: 20.613, to: 47.513, coefficients: &[
            1.972485e1, 3.300943e1, -3.915159e-1, 9.855391e-3,
            -1.274371e-4, 7.767022e-7,
        ] },
    ],
};

/// Type R, −50 to 1768.1 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const R: Curve = Curve {
    forward: &[
        Polynomial { from: -50.0, to: 1064.18, coefficients: &[
            0.0, 5.28961729765e-3, 1.39166589782e-5, -2.38855693017e-8,
            3.56916001063e-11, -4.62347666298e-14, 5.00777441034e-17, -3.73105886191e-20,
            1.57716482367e-23, -2.81038625251e-27,
        ] },
        Polynomial { from: 1064.18, to: 1664.5, coefficients: &[
            2.95157925316, -2.52061251332e-3, 1.59564501865e-5, -7.64085947576e-9,
            2.05305291024e-12, -2.93359668173e-16,
        ] },
        Polynomial { from: 1664.5, to: 1768.1, coefficients: &[
            1.52232118209e2, -2.68819888545e-1, 1.71280280471e-4, -3.45895706453e-8,
            -9.34633971046e-15,
        ] },
    ],
    exponential: None,
    inverse: &[
        Polynomial { from: -0.226, to: 1.923, coefficients: &[
            0.0, 1.889138e2, -9.383529e1, 1.3068619e2,
            -2.270358e2, 3.5145659e2, -3.89539e2, 2.8239471e2,
            -1.2607281e2, 3.1353611e1, -3.3187769,
        ] },
        Polynomial { from: 1.923, to: 13.228, coefficients: &[
            1.334584505e1, 1.472644573e2, -1.844024844e1, 4.031129726,
            -6.24942836e-1, 6.468412046e-2, -4.458750426e-3, 1.994710149e-4,
            -5.31340179e-6, 6.481976217e-8,
        ] },
        Polynomial { from: 11.361, to: 19.739, coefficients: &[
            -8.199599416e1, 1.553962042e2, -8.342197663, 4.279433549e-1,
            -1.19157791e-2, 1.492290091e-4,
        ] },
        Polynomial { from: 19.739, to: 21.103, coefficients: &[
            3.406177836e4, -7.023729171e3, 5.582903813e2, -1.952394635e1,
            2.560740231e-1,
        ] },
    ],
};

/// Type S, −50 to 1768.1 °C.
#[rustfmt::skip] // Columns of four read better than one long column.
pub(super) const S: Curve = Curve {
    forward: &[
        Polynomial { from: -50.0, to: 1064.18, coefficients: &[
            0.0, 5.40313308631e-3, 1.2593428974e-5, -2.32477968689e-8,
            3.22028823036e-11, -3.31465196389e-14, 2.55744251786e-17, -1.25068871393e-20,
            2.71443176145e-24,
        ] },
        Polynomial { from: 1064.18, to: 1664.5, coefficients: &[
            1.32900444085, 3.34509311344e-3, 6.54805192818e-6, -1.64856259209e-9,
            1.29989605174e-14,
        ] },
        Polynomial { from: 1664.5, to: 1768.1, coefficients: &[
            1.46628232636e2, -2.58430516752e-1, 1.63693574641e-4, -3.30439046987e-8,
            -9.43223690612e-15,
        ] },
    ],
    exponential: None,
    inverse: &[
        Polynomial { from: -0.235, to: 1.874, coefficients: &[
            0.0, 1.8494946e2, -8.00504062e1, 1.0223743e2,
            -1.52248592e2, 1.88821343e2, -1.59085941e2, 8.2302788e1,
            -2.34181944e1, 2.7978626,
        ] },
        Polynomial { from: 1.874, to: 11.95, coefficients: &[
            1.291507177e1, 1.466298863e2, -1.534713402e1, 3.145945973,
            -4.163257839e-1, 3.187963771e-2, -1.2916375e-3, 2.183475087e-5,
            -1.447379511e-7, 8.211272125e-9,
        ] },
        Polynomial { from: 10.332, to: 17.536, coefficients: &[
            -8.087801117e1, 1.621573104e2, -8.536869453, 4.719686976e-1,
            -1.441693666e-2, 2.08161889e-4,
        ] },
        Polynomial { from: 17.536, to: 18.693, coefficients: &[
            5.333875126e4, -1.235892298e4, 1.092657613e3, -4.265693686e1,
            6.24720542e-1,
        ] },
    ],
};
