"""What is made from the solid model: files to make parts from, drawings, pictures, the parts list, figures."""
